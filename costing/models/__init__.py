"""Rows of costing."""

from costing.models.conversion import Conversion, ConversionEffort
from costing.models.customers import Customer
from costing.models.fees import Fee
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
)
from costing.models.sales_shipments import (
    SalesCredit,
    SalesShipment,
    SalesShipmentLine,
    SalesShipmentLot,
)
from costing.models.standards import (
    LaborStandard,
    StandardCost,
    StandardEffort,
    StandardMaterial,
)

__all__ = [
    "RATE_KINDS",
    "Conversion",
    "ConversionEffort",
    "Customer",
    "Fee",
    "LaborStandard",
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
    "SalesCredit",
    "SalesOrder",
    "SalesOrderBatch",
    "SalesOrderEvent",
    "SalesOrderHold",
    "SalesOrderLine",
    "SalesOrderState",
    "SalesShipment",
    "SalesShipmentLine",
    "SalesShipmentLot",
    "StandardCost",
    "StandardEffort",
    "StandardMaterial",
    "Tier",
]
