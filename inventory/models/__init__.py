"""Rows of the inventory. Balances are written by `inventory.services.ledger` alone."""

from inventory.models.alerts import Digest, JobRun, LowStockAlert
from inventory.models.counts import StockCount
from inventory.models.deliveries import Delivery, DeliveryCharge, DeliveryLine
from inventory.models.ledger import StockEntry
from inventory.models.lots import Lot
from inventory.models.materials import FattyAcidShare, Material
from inventory.models.orders import PurchaseOrder, PurchaseOrderLine
from inventory.models.requirements import ExpectedMake, Requirement
from inventory.models.reservations import Reservation, ReservationLine, ReservationState
from inventory.models.suppliers import Offer, Supplier

__all__ = [
    "Delivery",
    "DeliveryCharge",
    "DeliveryLine",
    "Digest",
    "ExpectedMake",
    "FattyAcidShare",
    "JobRun",
    "Lot",
    "LowStockAlert",
    "Material",
    "Offer",
    "PurchaseOrder",
    "PurchaseOrderLine",
    "Requirement",
    "Reservation",
    "ReservationLine",
    "ReservationState",
    "StockCount",
    "StockEntry",
    "Supplier",
]
