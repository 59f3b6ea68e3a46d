"""Rows of costing."""

from costing.models.conversion import Conversion
from costing.models.customers import Customer
from costing.models.packaging import PackagingEdition, PackagingPiece, PackagingSet
from costing.models.prices import PriceEntry, Tier
from costing.models.products import Product
from costing.models.quotes import Quote, QuoteEvent, QuoteLine, QuoteMail, QuoteState
from costing.models.rates import RATE_KINDS, Rate
from costing.models.sales import (
    SalesOrder,
    SalesOrderBatch,
    SalesOrderEvent,
    SalesOrderHold,
    SalesOrderLine,
    SalesOrderState,
    SalesShipment,
    SalesShipmentLine,
)

__all__ = [
    "RATE_KINDS",
    "Conversion",
    "Customer",
    "PackagingEdition",
    "PackagingPiece",
    "PackagingSet",
    "PriceEntry",
    "Product",
    "Quote",
    "QuoteEvent",
    "QuoteLine",
    "QuoteMail",
    "QuoteState",
    "Rate",
    "SalesOrder",
    "SalesOrderBatch",
    "SalesOrderEvent",
    "SalesOrderHold",
    "SalesOrderLine",
    "SalesOrderState",
    "SalesShipment",
    "SalesShipmentLine",
    "Tier",
]
