"""Rows of costing."""

import costing.models.bar_cost.conversion
import costing.models.bar_cost.packaging
import costing.models.orders.sales
import costing.models.prices.prices
import costing.models.quotes.quotes
import costing.models.rates.rates
