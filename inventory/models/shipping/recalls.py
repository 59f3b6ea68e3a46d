"""Recalls: a lot and everything made of it, blocked in one action."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from inventory.models.catalog.materials import CODE_LENGTH
from inventory.models.stock.lots import LOT_STATUSES, Lot
from studio.foundation.model_fields import CodeField


class Recall(models.Model):
    """Why a lot and all that was made of it is blocked, and why it is no more."""

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="recalls")
    reason = models.CharField(max_length=160)
    opened_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_reason = models.CharField(max_length=160, blank=True)
    lifted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["lot"],
                condition=Q(lifted_at__isnull=True),
                name="one_open_recall_per_lot",
            ),
            models.CheckConstraint(
                condition=Q(lifted_at__isnull=True, lifted_reason="")
                | (Q(lifted_at__isnull=False) & ~Q(lifted_reason="")),
                name="recall_lifted_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def status_reason(self) -> str:
        """What stands on the lots that it blocks."""
        return f"recall {self.code}: {self.reason}"


class RecalledLot(models.Model):
    """A lot as it was before the recall, so that lifting puts back what it changed and no more."""

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="lots")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="recalled")
    was_status = models.CharField(max_length=12, choices=LOT_STATUSES)
    was_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["recall_id", "lot_id"]
        constraints = [
            models.UniqueConstraint(fields=["recall", "lot"], name="one_row_per_recalled_lot")
        ]

    def __str__(self) -> str:
        return f"{self.recall_id}: {self.lot_id}"
