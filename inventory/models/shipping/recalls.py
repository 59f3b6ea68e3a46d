"""Recalls: a lot and everything made of it, held in one action."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from inventory.models.catalog.materials import CODE_LENGTH
from inventory.models.stock.lots import Lot
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import CodeField, rules

#: What people write as the reason of a recall, and of its end.
LONGEST_RECALL = 160


class Recall(models.Model):
    """Why a lot and all that was made of it is held, and why it is no more."""

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="recalls")
    reason = models.CharField(max_length=LONGEST_RECALL)
    opened_at = models.DateTimeField(auto_now_add=True)
    by = DoerField()
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_reason = models.CharField(max_length=LONGEST_RECALL, blank=True)
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
            *rules(
                recall_lifted_with_reason=Q(lifted_at__isnull=True, lifted_reason="")
                | (Q(lifted_at__isnull=False) & ~Q(lifted_reason=""))
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def document(self) -> str:
        """How holds refer to it."""
        return f"recall:{self.code}"

    @property
    def hold_reason(self) -> str:
        """What stands on the lots that it holds."""
        return f"recall {self.code}: {self.reason}"
