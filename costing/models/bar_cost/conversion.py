"""Cost of conversion: labor and overhead put on the lot that a batch made (IAS 2.12)."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from costing.models.bar_cost.standards import EFFORTS
from studio.foundation.model_fields import MoneyField


class Conversion(models.Model):
    """Labor and overhead of one batch, entered once on the lot it made.

    It keeps the amounts and the rates themselves, so that a rate changed later leaves it as it
    is. `posting` names the ledger's entry; there is none when nothing was added, and `note` says
    what is missing. `expensed` is what of labor and overhead an unusual loss of bars took: it is an
    expense and not in the lot's cost (IAS 2 paragraph 16).
    """

    batch = models.OneToOneField(
        "recipes.Batch", on_delete=models.PROTECT, related_name="conversion"
    )
    posting = models.UUIDField(null=True, blank=True)
    minutes = models.PositiveIntegerField()
    labor_rate = MoneyField()
    labor = MoneyField()
    overhead = MoneyField()
    expensed = MoneyField(default=0)
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
            ),
            models.CheckConstraint(
                condition=Q(expensed__gte=0, expensed__lte=F("labor") + F("overhead")),
                name="conversion_expensed_within",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id}: {self.labor + self.overhead}"


class ConversionEffort(models.Model):
    """A part of a conversion: seconds of a task, batches, rack-days or Wh, at their rate.

    Conversions of before efforts were told apart have none.
    """

    conversion = models.ForeignKey(Conversion, on_delete=models.CASCADE, related_name="efforts")
    effort = models.CharField(max_length=12, choices=EFFORTS)
    quantity = models.PositiveBigIntegerField()
    rate = MoneyField()
    cost = MoneyField()

    class Meta:
        ordering = ["conversion_id", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["conversion", "effort"], name="one_line_per_conversion_effort"
            ),
            models.CheckConstraint(
                condition=Q(rate__gte=0, cost__gte=0), name="conversion_effort_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.effort}: {self.cost}"
