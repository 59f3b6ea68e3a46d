"""Rows of costing."""

import costing.models.bar_cost.conversion
import costing.models.bar_cost.packaging
import costing.models.bar_cost.standards
import costing.models.orders.sales
import costing.models.orders.shipments
import costing.models.prices.prices
import costing.models.prices.products
import costing.models.quotes.customers
import costing.models.quotes.quotes
import costing.models.rates.fees
import costing.models.rates.rates
