"""Formulas and their versions: what goes in, by which basis, at which stage, poured how."""

from decimal import Decimal

from django.db import models
from django.db.models import Q

from recipes.domain.bench.pours import Place
from recipes.domain.formulas.formula import LONGEST_NAME, Basis, Stage
from studio.foundation.doers import DoerField
from studio.foundation.histories import Records
from studio.foundation.model_fields import CodeField, FixedPointField, MassField, rules, said
from studio.models import Revised

CODE_LENGTH = 40


class FormulaKind(models.TextChoices):
    """Soap is saponified and poured; a blend (masterbatch lye, infused oil) is only mixed."""

    SOAP = "soap"
    BLEND = "blend"


class Formula(Revised):
    """A recipe by name. What it makes is a material: bars for soap, an intermediate for a blend.

    `batter` is the material of the poured, uncut soap; a blend has none. `least_make` is the
    smallest batch of a blend worth making, where plans ask for less. `current` is the version that
    is made and sold: products, orders, costs and plans follow it. The first version is current at
    once; a later one is a trial until somebody makes it current, whose day and name stand beside.
    """

    code = said(CodeField(max_length=CODE_LENGTH, unique=True), "Code")
    name = said(models.CharField(max_length=120), "Name")
    kind = models.CharField(max_length=8, choices=FormulaKind.choices, default=FormulaKind.SOAP)
    product = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, related_name="+")
    batter = models.ForeignKey(
        "inventory.Material", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    least_make = said(MassField(null=True, blank=True), "The least that is made at once")
    note = said(models.TextField(blank=True, max_length=4000), "Note")
    active = said(models.BooleanField(default=True), "Is made")
    current = models.ForeignKey(
        "recipes.FormulaVersion", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    current_since = models.DateTimeField(null=True, blank=True)
    current_by = DoerField()

    history = Records()

    class Meta:
        ordering = ["code"]
        constraints = rules(
            formula_soap_has_batter=Q(kind="soap", batter__isnull=False)
            | Q(kind="blend", batter__isnull=True),
            formula_least_make=Q(least_make__isnull=True) | Q(least_make__gt=0),
            formula_current_has_day=Q(current__isnull=True, current_since__isnull=True)
            | Q(current__isnull=False, current_since__isnull=False),
        )

    def __str__(self) -> str:
        return self.name


class FormulaVersion(models.Model):
    """One version of a formula; `frozen_at` is set once a batch uses it, then it never changes.

    Shares are fractions of 1. `koh_share` is the part of the alkali demand (by moles) that KOH
    meets. `resolution` is the step that is weighed to where the studio keeps no scale.
    """

    formula = models.ForeignKey(Formula, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    frozen_at = models.DateTimeField(null=True, blank=True)
    naoh = models.ForeignKey(
        "inventory.Material", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    koh = models.ForeignKey(
        "inventory.Material", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    masterbatch = models.ForeignKey(
        "inventory.Material", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    water = models.ForeignKey(
        "inventory.Material", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    koh_share = FixedPointField(places=6, default=0)
    superfat = FixedPointField(
        places=6, null=True, blank=True, help_text="Empty for a blend; a soap has one, if only 0."
    )
    lye_concentration = FixedPointField(places=6, null=True, blank=True)
    pour_temperature_c = FixedPointField(places=3, default=40)
    pot_loss_share = FixedPointField(places=6, default=0)
    cure_loss_share = FixedPointField(places=6, default=0)
    cure_days = models.PositiveIntegerField(default=0)
    ready_days = models.PositiveIntegerField(
        default=0, help_text="Days from the start of a blend until it is poured, such as steeping."
    )
    rinse_share = FixedPointField(
        places=6,
        null=True,
        blank=True,
        help_text="Share of the extra water that rinses the lye vessel; empty for the usual one.",
    )
    weekly_loss_limit = FixedPointField(
        places=6, default=Decimal("0.01"), help_text="Cured once a bar loses less in a week."
    )
    resolution = MassField(default=1_000_000_000)
    minutes = models.PositiveIntegerField(
        null=True, blank=True, help_text="Labor a batch, in minutes; empty: not stated."
    )
    note = models.TextField(blank=True, max_length=4000)
    created_at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["formula_id", "-number"]
        constraints = rules(
            one_number_per_formula=("formula", "number"),
            version_superfat=Q(superfat__isnull=True) | Q(superfat__gte=0, superfat__lt=1),
            version_koh_share=Q(koh_share__gte=0, koh_share__lte=1),
            version_lye_concentration=Q(lye_concentration__isnull=True)
            | Q(lye_concentration__gt=0, lye_concentration__lte=1),
            version_losses=Q(
                pot_loss_share__gte=0,
                pot_loss_share__lt=1,
                cure_loss_share__gte=0,
                cure_loss_share__lt=1,
            ),
            version_resolution=Q(resolution__gt=0),
            version_rinse_share=Q(rinse_share__isnull=True)
            | Q(rinse_share__gte=0, rinse_share__lt=1),
            version_weekly_loss_limit=Q(weekly_loss_limit__gt=0, weekly_loss_limit__lt=1),
        )

    def __str__(self) -> str:
        return f"{self.formula_id} v{self.number}"

    @property
    def is_current(self) -> bool:
        """Whether it is the one that is made and sold; every other is a trial, or was current."""
        return self.formula.current_id == self.pk


class FormulaLine(models.Model):
    """One material of a version: how much by which basis, and when it goes in.

    What is `strained` is taken out of a blend again (herbs out of an oil) and gives only its name.
    """

    version = models.ForeignKey(FormulaVersion, on_delete=models.CASCADE, related_name="lines")
    position = models.PositiveIntegerField()
    material = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, related_name="+")
    basis = models.CharField(max_length=20, choices=[(b.value, b.value) for b in Basis])
    stage = models.CharField(max_length=12, choices=[(s.value, s.value) for s in Stage])
    amount = FixedPointField(places=6)
    counts_as_water = models.BooleanField(default=False)
    strained = models.BooleanField(default=False)
    portion = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["version_id", "position"]
        constraints = rules(
            one_line_per_position=("version", "position"), formula_line_amount=Q(amount__gt=0)
        )

    def __str__(self) -> str:
        return f"{self.version_id}.{self.position}"

    @property
    def is_packing(self) -> bool:
        """Whether it packs the bars once they are cured, and is no part of what is poured."""
        return self.stage == Stage.PACK


class FormulaPortion(models.Model):
    """A named part of a version's batter; the shares of a version's portions sum to 1."""

    version = models.ForeignKey(
        "recipes.FormulaVersion", on_delete=models.CASCADE, related_name="portions"
    )
    position = models.PositiveIntegerField()
    name = models.CharField(max_length=LONGEST_NAME)
    share = FixedPointField(places=6)

    class Meta:
        ordering = ["version_id", "position"]
        constraints = rules(
            one_portion_a_position=("version", "position"),
            one_portion_a_name=("version", "name"),
            portion_share=Q(share__gt=0, share__lte=1),
        )

    def __str__(self) -> str:
        return self.name


class PourLayer(models.Model):
    """One pour of a version: `share` of a portion, and where in the mold."""

    version = models.ForeignKey(
        "recipes.FormulaVersion", on_delete=models.CASCADE, related_name="layers"
    )
    position = models.PositiveIntegerField()
    portion = models.CharField(max_length=LONGEST_NAME)
    share = FixedPointField(places=6)
    place = models.CharField(max_length=8, choices=[(place.value, place.value) for place in Place])
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["version_id", "position"]
        constraints = rules(
            one_layer_a_position=("version", "position"), layer_share=Q(share__gt=0, share__lte=1)
        )

    def __str__(self) -> str:
        return f"{self.version_id}.{self.position}"
