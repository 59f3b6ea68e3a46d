"""Counts: what was found on the shelf against what the books said."""

import uuid

from django.db import models
from django.db.models import Q

from inventory.models.stock.lots import Lot
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import StockField


class StockCount(models.Model):
    """One lot counted or weighed; the difference is an entry of the same posting."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="counts")
    posting = models.UUIDField(default=uuid.uuid4)
    counted_on = models.DateField()
    expected = StockField()
    found = StockField()
    reason = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(found__gte=0, expected__gte=0), name="count_not_negative"
            )
        ]

    def __str__(self) -> str:
        return f"{self.lot_id}: {self.found}"
