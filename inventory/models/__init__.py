"""Rows of the inventory. Balances are written by `inventory.services.ledger` alone."""

from inventory.models.alerts import Alert, JobRun
from inventory.models.count_sessions import CountLine, CountSession
from inventory.models.counts import StockCount
from inventory.models.deliveries import Delivery, DeliveryCharge, DeliveryLine
from inventory.models.ledger import StockEntry
from inventory.models.links import LotLink
from inventory.models.locations import Location
from inventory.models.lots import Lot
from inventory.models.materials import FattyAcidShare, Material
from inventory.models.orders import BuyPlan, OrderMail, PurchaseOrder, PurchaseOrderLine
from inventory.models.policies import PolicySettings
from inventory.models.recalls import Recall, RecalledLot
from inventory.models.requirements import ExpectedMake, Requirement
from inventory.models.reservations import Reservation, ReservationLine, ReservationState
from inventory.models.shipments import Shipment, ShipmentLine, ShipmentReturn
from inventory.models.suppliers import Offer, Supplier

__all__ = [
    "Alert",
    "BuyPlan",
    "CountLine",
    "CountSession",
    "Delivery",
    "DeliveryCharge",
    "DeliveryLine",
    "ExpectedMake",
    "FattyAcidShare",
    "JobRun",
    "Location",
    "Lot",
    "LotLink",
    "Material",
    "Offer",
    "OrderMail",
    "PolicySettings",
    "PurchaseOrder",
    "PurchaseOrderLine",
    "Recall",
    "RecalledLot",
    "Requirement",
    "Reservation",
    "ReservationLine",
    "ReservationState",
    "Shipment",
    "ShipmentLine",
    "ShipmentReturn",
    "StockCount",
    "StockEntry",
    "Supplier",
]
