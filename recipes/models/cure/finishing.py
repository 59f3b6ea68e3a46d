"""What becomes of poured soap: the record of the cut, weighings of the cure, its date as chosen."""

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Coalesce

from recipes.models.bench.batches import Batch
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import FixedPointField, MassField, MoneyField, rules

#: All that was weighed at a cut.
STATED = (
    Coalesce(F("good_weight"), 0)
    + Coalesce(F("rejected_weight"), 0)
    + Coalesce(F("ends_weight"), 0)
)


class CutRecord(models.Model):
    """The cut of a batch by weight and by cost.

    `cost` is what the poured soap cost; it went to the good bars, to the ends that were kept, and
    to the loss, and these three add up to it. Weights that nobody took are empty; those that were
    taken are within what was poured and the `allowance` for the readings of the scale.
    """

    batch = models.OneToOneField(Batch, on_delete=models.PROTECT, related_name="cut_record")
    poured = MassField(help_text="What the poured soap weighed by the books.")
    good_weight = MassField(null=True, blank=True)
    rejected_weight = MassField(null=True, blank=True)
    ends_weight = MassField(null=True, blank=True)
    allowance = MassField(
        null=True,
        blank=True,
        help_text="What the readings of the scale may add up to beyond the pour; empty: not kept.",
    )
    reason = models.CharField(
        max_length=1000,
        blank=True,
        help_text="Why much was lost, or bars are far off their planned weight.",
    )
    ends_lot = models.OneToOneField(
        "inventory.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="cut_off_by"
    )
    ends_share = FixedPointField(places=6, null=True, blank=True, help_text="Empty: by weight.")
    cost = MoneyField()
    bars_cost = MoneyField()
    ends_cost = MoneyField()
    loss = MoneyField()
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        constraints = rules(
            cut_conserves_cost=Q(cost=F("bars_cost") + F("ends_cost") + F("loss")),
            cut_cost_not_negative=Q(bars_cost__gte=0, ends_cost__gte=0, loss__gte=0),
            cut_weighs_no_more_than_poured=Q(allowance__isnull=True)
            | Q(poured__gte=STATED - F("allowance")),
            cut_ends_share=Q(ends_share__isnull=True) | Q(ends_share__gte=0, ends_share__lt=1),
        )

    def __str__(self) -> str:
        return f"cut of {self.batch_id}"

    @property
    def lost_weight(self) -> int | None:
        """What is in no bar, reject or end; None where the bars were not weighed. In ng."""
        if self.good_weight is None:
            return None
        out = self.good_weight + (self.rejected_weight or 0) + (self.ends_weight or 0)
        return max(self.poured - out, 0)


class CureWeighing(models.Model):
    """One sample bar weighed on one day; weighing it again on that day replaces the weight."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="cure_weighings")
    on = models.DateField()
    bar = models.PositiveIntegerField(help_text="Number of the sample bar, from 1.")
    weight = MassField()
    at = models.DateTimeField(auto_now=True)
    by = DoerField()

    class Meta:
        ordering = ["batch_id", "on", "bar"]
        constraints = rules(
            one_weighing_per_bar_and_day=("batch", "on", "bar"),
            weighing_positive=Q(weight__gt=0, bar__gt=0),
        )

    def __str__(self) -> str:
        return f"{self.batch_id}: bar {self.bar} on {self.on}"


class CureChoice(models.Model):
    """The maker's word on when the cure is over: another date accepted, or an early release.

    `due_on` is the date that held before, `ready_on` the one that holds since. The last row holds.
    """

    class Kind(models.TextChoices):
        ACCEPTED = "accepted", "Predicted date accepted"
        DEFAULT = "default", "Back to the recipe's cure days"
        EARLY = "early", "Released before the cure was over"

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="cure_choices")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    due_on = models.DateField()
    ready_on = models.DateField()
    reason = models.CharField(max_length=1000, blank=True)
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["batch_id", "id"]
        constraints = rules(early_release_has_reason=~Q(kind="early") | ~Q(reason=""))

    def __str__(self) -> str:
        return f"{self.batch_id}: {self.kind} {self.ready_on}"
