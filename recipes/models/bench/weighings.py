"""What was read off the scale for a batch, reading by reading."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from recipes.models.bench.batches import BatchLine
from studio.foundation.model_fields import StockField


class Weighing(models.Model):
    """One reading of a line out of one lot, before the pour; of what was left out, no lot.

    A reading is never changed: weighing the line again sets `set_aside_at` on the old readings, so
    that the record shows who corrected what and when. `written` is what the person wrote.
    """

    line = models.ForeignKey(BatchLine, on_delete=models.CASCADE, related_name="weighings")
    lot = models.ForeignKey(
        "inventory.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    amount = StockField()
    written = models.CharField(max_length=64, blank=True)
    note = models.CharField(max_length=200, blank=True)
    weighed_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    set_aside_at = models.DateTimeField(null=True, blank=True)
    set_aside_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(amount__gt=0, lot__isnull=False) | Q(amount=0, lot__isnull=True),
                name="weighing_amount",
            ),
            models.UniqueConstraint(
                fields=["line", "lot"],
                condition=Q(set_aside_at__isnull=True),
                name="one_standing_weighing_per_line_and_lot",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line_id}: {self.amount} of {self.lot_id}"
