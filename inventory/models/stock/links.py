"""What a made lot is made of: one link for each lot that went into it."""

from django.db import models
from django.db.models import F, Q

from inventory.models.stock.lots import Lot
from studio.foundation.model_fields import StockField


class LotLink(models.Model):
    """`amount` (the parent's stock unit) of `parent` went into `child`, under a document.

    Entries alone do not say this: a batch consumes and produces several lots under one reference
    (fats, poured soap, boxes; poured soap, bars), and not each of them went into each.
    Written in the transaction that produces the child; the amount was consumed by that document.
    What does not `stay` was strained out again (herbs out of an infusion) and gave only its name.
    """

    parent = models.ForeignKey(
        Lot, on_delete=models.PROTECT, related_name="links_into", db_index=False
    )
    child = models.ForeignKey(
        Lot, on_delete=models.PROTECT, related_name="links_from", db_index=False
    )
    amount = StockField()
    reference = models.CharField(max_length=80, blank=True)
    stays = models.BooleanField(default=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(amount__gt=0) & ~Q(parent=F("child")), name="link_between_two_lots"
            )
        ]
        indexes = [
            models.Index(fields=["parent", "child"], name="link_downward"),
            models.Index(fields=["child", "parent"], name="link_upward"),
        ]

    def __str__(self) -> str:
        return f"{self.amount} of {self.parent_id} in {self.child_id}"
