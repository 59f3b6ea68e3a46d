"""Rows of the inventory. Balances are written by `inventory.services.stock.ledger` alone."""

import inventory.models.alerts.alerts
import inventory.models.buying.orders
import inventory.models.buying.policies
import inventory.models.buying.requirements
import inventory.models.catalog.materials
import inventory.models.catalog.suppliers
import inventory.models.counting.counts
import inventory.models.receiving.deliveries
import inventory.models.shipping.recalls
import inventory.models.shipping.shipments
import inventory.models.stock.holds
import inventory.models.stock.ledger
import inventory.models.stock.lots
import inventory.models.stock.reservations
