"""Cost of conversion: labor and overhead put on the lot that a batch made (IAS 2.12)."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from studio.model_fields import MoneyField


class Conversion(models.Model):
    """Labor and overhead of one batch, entered once on the lot it made.

    It keeps the amounts and the labor rate themselves, so that a rate changed later leaves it as it
    is. `posting` names the ledger's entry; there is none when nothing was added, and `note` says
    what is missing.
    """

    batch = models.OneToOneField(
        "recipes.Batch", on_delete=models.PROTECT, related_name="conversion"
    )
    posting = models.UUIDField(null=True, blank=True)
    minutes = models.PositiveIntegerField()
    labor_rate = MoneyField()
    labor = MoneyField()
    overhead = MoneyField()
    note = models.CharField(max_length=400, blank=True)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(labor_rate__gte=0, labor__gte=0, overhead__gte=0),
                name="conversion_not_negative",
            )
        ]

    def __str__(self) -> str:
        return f"{self.batch_id}: {self.labor + self.overhead}"
