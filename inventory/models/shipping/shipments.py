"""Shipments: the stock side of what customers get, and what comes back."""

import uuid

from django.db import models
from django.db.models import Q

from inventory.models.catalog.materials import CODE_LENGTH
from inventory.models.stock.lots import Lot
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import CodeField, MoneyField, StockField, rules


class Shipment(models.Model):
    """Bars that left for a customer, as they left; what comes back is a `ShipmentReturn`."""

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    customer_name = models.CharField(max_length=120, db_index=True)
    reference = models.CharField(max_length=80, blank=True)
    shipped_on = models.DateField()
    note = models.TextField(blank=True, max_length=2000)
    created_at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["-shipped_on", "-id"]

    def __str__(self) -> str:
        return self.code

    @property
    def document(self) -> str:
        """The reference of its entries in the ledger."""
        return f"shipment:{self.code}"


class ShipmentLine(models.Model):
    """What one lot gave to a shipment, with the cost that left with it."""

    shipment = models.ForeignKey(Shipment, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="shipment_lines")
    amount = StockField()
    cost = MoneyField()

    class Meta:
        ordering = ["shipment_id", "position"]
        constraints = rules(
            one_line_per_shipment_position=("shipment", "position"),
            one_line_per_shipped_lot=("shipment", "lot"),
            shipment_line_amounts=Q(amount__gt=0, cost__gte=0),
        )

    def __str__(self) -> str:
        return f"{self.shipment_id}.{self.position}"


class ShipmentReturn(models.Model):
    """What came back of a shipped line, with its cost: a counter-entry, nothing is edited."""

    line = models.ForeignKey(ShipmentLine, on_delete=models.PROTECT, related_name="returns")
    posting = models.UUIDField(default=uuid.uuid4)
    returned_on = models.DateField()
    amount = StockField()
    cost = MoneyField()
    reason = models.CharField(max_length=200)
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["id"]
        constraints = rules(return_amounts=Q(amount__gt=0, cost__gte=0))

    def __str__(self) -> str:
        return f"{self.amount} of {self.line_id}"
