"""Batches: a version scaled to a target, from the plan to cured bars, and what was weighed."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from recipes.domain.formulas.formula import Stage
from recipes.models.formulas.formulas import CODE_LENGTH, FormulaVersion
from recipes.models.molds.molds import Mold
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import CodeField, FixedPointField, MassField, StockField, rules
from studio.models import Revised


class BatchState(models.TextChoices):
    """The life of a batch. A blend goes from poured (mixed) straight to its lot."""

    PLANNED = "planned"
    RESERVED = "reserved"
    POURED = "poured"
    CUT = "cut"
    CURED = "cured"
    CANCELLED = "cancelled"


class Batch(Revised):
    """One batch. Amounts are those of the plan after rounding to the scale and to whole pieces.

    `target` keeps what was asked for ("mold", "fats", "batter", "bars" and its amount) so that the
    plan can be made again.
    """

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    version = models.ForeignKey(FormulaVersion, on_delete=models.PROTECT, related_name="batches")
    mold = models.ForeignKey(
        Mold, on_delete=models.PROTECT, null=True, blank=True, related_name="batches"
    )
    state = models.CharField(max_length=10, choices=BatchState.choices, default=BatchState.PLANNED)
    planned_on = models.DateField()
    target = models.JSONField(default=dict)
    fats = MassField(default=0)
    batter = MassField(default=0, help_text="Batter, or what a blend makes, by the plan.")
    bars_planned = models.PositiveIntegerField(default=0)
    superfat = FixedPointField(places=6, null=True, blank=True)
    superfat_worst = FixedPointField(places=6, null=True, blank=True)
    lye_concentration = FixedPointField(places=6, null=True, blank=True)
    superfat_poured = FixedPointField(places=6, null=True, blank=True)
    lye_concentration_poured = FixedPointField(places=6, null=True, blank=True)
    oil_temperature_c = FixedPointField(places=3, null=True, blank=True)
    lye_temperature_c = FixedPointField(places=3, null=True, blank=True)
    poured_temperature_c = FixedPointField(places=3, null=True, blank=True)
    trace_minutes = models.PositiveIntegerField(
        null=True, blank=True, help_text="From the first stirring to trace, in minutes."
    )
    poured_mass = MassField(null=True, blank=True, help_text="Batter as poured, weighed.")
    reservation = models.ForeignKey(
        "inventory.Reservation",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="batches",
    )
    poured_lot = models.OneToOneField(
        "inventory.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="poured_by"
    )
    bar_lot = models.OneToOneField(
        "inventory.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="made_by"
    )
    planned_for = models.ForeignKey(
        "self",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="making",
        help_text="The batch at the top of the tree that this one is planned for.",
    )
    keep_for_tree = models.BooleanField(
        default=False,
        help_text="What it makes is held at once for the batches of its tree that wait for it.",
    )
    poured_on = models.DateField(null=True, blank=True)
    cut_on = models.DateField(null=True, blank=True)
    cured_on = models.DateField(null=True, blank=True)
    cure_ready_on = models.DateField(null=True, blank=True)
    bars_good = models.PositiveIntegerField(null=True, blank=True)
    bars_rejected = models.PositiveIntegerField(
        null=True, blank=True, help_text="All rejects, the unusual ones among them."
    )
    bars_rejected_abnormal = models.PositiveIntegerField(
        default=0, help_text="Rejects of an unusual loss, such as a fall: an expense of their own."
    )
    # Of labor, in minutes; empty where nobody told them, which is not 0.
    minutes = models.PositiveIntegerField(
        null=True, blank=True, help_text="Labor that was told so far, in minutes."
    )
    mix_minutes = models.PositiveIntegerField(
        null=True, blank=True, help_text="Of them up to the pour."
    )
    cut_minutes = models.PositiveIntegerField(
        null=True, blank=True, help_text="Of them at the cut."
    )
    wrap_minutes = models.PositiveIntegerField(
        null=True, blank=True, help_text="Of them at the release."
    )
    note = models.TextField(blank=True, max_length=4000)
    # Who planned it; who cancelled it is `changed_by`, since nothing is changed afterwards.
    by = DoerField()
    poured_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        db_index=False,
    )
    cured_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        db_index=False,
    )

    class Meta:
        ordering = ["-planned_on", "-id"]
        verbose_name_plural = "batches"
        constraints = rules(
            batch_reserved_has_reservation=~Q(state="reserved") | Q(reservation__isnull=False),
            batch_cut_after_pour=Q(poured_on__isnull=True)
            | Q(cut_on__isnull=True)
            | Q(cut_on__gte=F("poured_on")),
            batch_poured_mass=Q(poured_mass__isnull=True) | Q(poured_mass__gt=0),
            batch_cut_has_bars=~Q(state__in=["cut", "cured"]) | Q(bars_good__isnull=False),
            batch_minutes_hold_tasks=Q(
                minutes__gte=F("mix_minutes") + F("cut_minutes") + F("wrap_minutes")
            ),
            batch_abnormal_among_rejects=Q(bars_rejected_abnormal=0)
            | Q(bars_rejected_abnormal__lte=F("bars_rejected")),
        )
        indexes = [models.Index(fields=["state", "planned_on"], name="batch_by_state")]

    def __str__(self) -> str:
        return self.code

    @property
    def holder(self) -> str:
        """The name under which the batch reserves, requires and posts in the inventory."""
        return f"batch:{self.code}"


class BatchLine(models.Model):
    """One thing to weigh or count: `planned` by the scaled recipe, `actual` once it is poured."""

    class Part(models.TextChoices):
        LINE = "line"
        NAOH = "naoh"
        KOH = "koh"
        MASTERBATCH = "masterbatch"
        WATER = "water"

    batch = models.ForeignKey(Batch, on_delete=models.CASCADE, related_name="lines")
    position = models.PositiveIntegerField()
    part = models.CharField(max_length=12, choices=Part.choices, default=Part.LINE)
    formula_line = models.ForeignKey(
        "recipes.FormulaLine", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    material = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, related_name="+")
    stage = models.CharField(max_length=12)
    portion = models.CharField(max_length=40, blank=True)
    planned = StockField()
    actual = StockField(null=True, blank=True)

    class Meta:
        ordering = ["batch_id", "position"]
        constraints = rules(
            one_batch_line_per_position=("batch", "position"),
            batch_line_planned=Q(planned__gt=0),
            batch_line_actual=Q(actual__isnull=True) | Q(actual__gte=0),
        )

    def __str__(self) -> str:
        return f"{self.batch_id}.{self.position}"

    @property
    def is_packing(self) -> bool:
        """Whether it packs the bars once they are cured, and is no part of what is poured."""
        return self.stage == Stage.PACK


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
    by = DoerField()
    set_aside_at = models.DateTimeField(null=True, blank=True)
    set_aside_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            *rules(
                weighing_amount=Q(amount__gt=0, lot__isnull=False) | Q(amount=0, lot__isnull=True)
            ),
            models.UniqueConstraint(
                fields=["line", "lot"],
                condition=Q(set_aside_at__isnull=True),
                name="one_standing_weighing_per_line_and_lot",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line_id}: {self.amount} of {self.lot_id}"
