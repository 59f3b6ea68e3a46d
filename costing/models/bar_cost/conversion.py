"""Labor, overhead and energy: standards, the standard cost of a batch, and what its lot bears."""

from django.db import models
from django.db.models import F, Q

from costing.domain.bar_cost.conversion import Effort
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import MoneyField, StockField, rules
from studio.models import Revised

EFFORTS = [(effort.value, effort.name.replace("_", " ").title()) for effort in Effort]


class LaborStandard(Revised):
    """What a batch is expected to take from a day on: of one formula, or of any without its own.

    Each task takes minutes a batch (set-up, cleaning) and seconds a bar. A batch uses `energy_wh`,
    and its bars fill racks of `bars_per_rack` (all on one where that is empty). A blend has tasks
    only by a standard of its own, and of them only the mixing.
    """

    formula = models.ForeignKey(
        "recipes.Formula",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="labor_standards",
    )
    effective_from = models.DateField()
    mix_minutes = models.PositiveIntegerField(default=0)
    mix_seconds_per_bar = models.PositiveIntegerField(default=0)
    cut_minutes = models.PositiveIntegerField(default=0)
    cut_seconds_per_bar = models.PositiveIntegerField(default=0)
    wrap_minutes = models.PositiveIntegerField(default=0)
    wrap_seconds_per_bar = models.PositiveIntegerField(default=0)
    energy_wh = models.PositiveIntegerField(default=0)
    bars_per_rack = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["formula_id", "-effective_from"]
        constraints = [
            *rules(one_labor_standard_per_day=("formula", "effective_from")),
            models.UniqueConstraint(
                fields=["effective_from"],
                condition=Q(formula__isnull=True),
                name="one_studio_labor_standard_per_day",
            ),
            *rules(
                labor_standard_rack_holds_bars=Q(bars_per_rack__isnull=True)
                | Q(bars_per_rack__gt=0)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.formula_id or 'any'} from {self.effective_from}"


class StandardCost(models.Model):
    """The cost that a batch was planned at: kept with the plan, and never changed by later prices.

    `bars` good bars were expected of it. What it was made for is compared with this.
    """

    batch = models.OneToOneField(
        "recipes.Batch", on_delete=models.PROTECT, related_name="standard_cost"
    )
    on = models.DateField()
    bars = models.PositiveIntegerField()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.batch_id} for {self.bars} bars"


class StandardMaterial(models.Model):
    """A material of a standard cost; `cost` is empty where nobody knew a price that day.

    `source` is what the price comes from: "average" of what was held, or the code of an offer.
    """

    standard = models.ForeignKey(StandardCost, on_delete=models.CASCADE, related_name="materials")
    material = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, related_name="+")
    packaging = models.BooleanField(default=False)
    quantity = StockField()
    cost = MoneyField(null=True, blank=True)
    source = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["standard_id", "id"]
        constraints = rules(
            one_standard_per_material=("standard", "material", "packaging"),
            standard_material_not_negative=Q(quantity__gte=0)
            & (Q(cost__isnull=True) | Q(cost__gte=0)),
        )

    def __str__(self) -> str:
        return f"{self.quantity} of {self.material_id}"


class StandardEffort(models.Model):
    """An effort of a standard cost: seconds, batches, rack-days or Wh at the rate of that day.

    Rate and cost are empty where no rate was in force, amount and cost where nobody said how long
    it takes: they were not known when it was planned.
    """

    standard = models.ForeignKey(StandardCost, on_delete=models.CASCADE, related_name="efforts")
    effort = models.CharField(max_length=12, choices=EFFORTS)
    quantity = models.PositiveBigIntegerField(null=True, blank=True)
    rate = MoneyField(null=True, blank=True)
    cost = MoneyField(null=True, blank=True)

    class Meta:
        ordering = ["standard_id", "id"]
        constraints = rules(
            one_standard_per_effort=("standard", "effort"),
            standard_effort_not_negative=Q(cost__isnull=True, rate__isnull=True)
            | Q(cost__isnull=True, quantity__isnull=True, rate__gte=0)
            | Q(cost__gte=0, rate__isnull=True, effort="rack")
            | Q(cost__gte=0, rate__gte=0),
        )

    def __str__(self) -> str:
        return f"{self.effort}: {self.cost}"


class Conversion(models.Model):
    """Labor and overhead of one batch, entered once on the lot it made.

    It keeps the amounts and the rates themselves, so that a rate changed later leaves it as it
    is; only what was not known is filled in (`LateConversion`). `minutes`, `labor` and `overhead`
    are what is known of them. `posting` names the ledger's entry; there is none when nothing was
    added, and `note` says why. `expensed` is what of labor and overhead an unusual loss of bars
    took: it is an expense and not in the lot's cost (IAS 2 paragraph 16).
    """

    batch = models.OneToOneField(
        "recipes.Batch", on_delete=models.PROTECT, related_name="conversion"
    )
    posting = models.UUIDField(null=True, blank=True)
    minutes = models.PositiveIntegerField()
    labor_rate = MoneyField(null=True, blank=True)
    labor = MoneyField()
    overhead = MoneyField()
    expensed = MoneyField(default=0)
    note = models.CharField(max_length=400, blank=True)
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["-id"]
        constraints = rules(
            conversion_not_negative=Q(labor_rate__gte=0, labor__gte=0, overhead__gte=0),
            conversion_expensed_within=Q(expensed__gte=0, expensed__lte=F("labor") + F("overhead")),
        )

    def __str__(self) -> str:
        return f"{self.batch_id}: {self.labor + self.overhead}"


class LateConversion(models.Model):
    """Labor and overhead of a batch whose rates came after it was costed, entered on a day.

    `cost` is what came late in all: `on_lot` of it was put on what is left of the lot (`posting`),
    `expensed` an unusual loss of bars took, and `variance` is the part of what had left the lot
    already: it changes no cost that was booked, and is an expense of that day.
    """

    conversion = models.ForeignKey(Conversion, on_delete=models.PROTECT, related_name="late")
    on = models.DateField()
    posting = models.UUIDField(null=True, blank=True)
    cost = MoneyField()
    on_lot = MoneyField()
    expensed = MoneyField()
    variance = MoneyField()
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["-id"]
        constraints = rules(
            late_conversion_adds_up=Q(on_lot__gte=0, expensed__gte=0, variance__gte=0)
            & Q(cost=F("on_lot") + F("expensed") + F("variance"))
        )

    def __str__(self) -> str:
        return f"{self.conversion_id}: {self.cost} on {self.on}"


class ConversionEffort(models.Model):
    """A part of a conversion: seconds of a task, batches, rack-days or Wh, at their rate.

    Rate and cost are empty as long as no rate is known, amount and cost as long as nobody said how
    long it took; `late` is what filled them in afterwards.
    Conversions of before efforts were told apart have none.
    """

    conversion = models.ForeignKey(Conversion, on_delete=models.CASCADE, related_name="efforts")
    effort = models.CharField(max_length=12, choices=EFFORTS)
    quantity = models.PositiveBigIntegerField(null=True, blank=True)
    rate = MoneyField(null=True, blank=True)
    cost = MoneyField(null=True, blank=True)
    late = models.ForeignKey(
        LateConversion, on_delete=models.PROTECT, null=True, blank=True, related_name="efforts"
    )

    class Meta:
        ordering = ["conversion_id", "id"]
        constraints = rules(
            one_line_per_conversion_effort=("conversion", "effort"),
            conversion_effort_not_negative=Q(cost__isnull=True, rate__isnull=True)
            | Q(cost__isnull=True, quantity__isnull=True, rate__gte=0)
            | Q(cost__gte=0, rate__isnull=True, effort="rack")
            | Q(cost__gte=0, rate__gte=0),
        )

    def __str__(self) -> str:
        return f"{self.effort}: {self.cost}"
