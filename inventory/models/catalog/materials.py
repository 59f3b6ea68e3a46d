"""Materials: what the studio weighs, counts and buys."""

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from inventory.domain.catalog.materials import RANGES, MaterialKind
from inventory.domain.stock.freshness import LONGEST_SHELF_LIFE_DAYS
from studio.foundation.histories import Records
from studio.foundation.model_fields import (
    Between,
    CodeField,
    FixedPointField,
    MassField,
    ShareField,
    StockField,
    rules,
    said,
)
from studio.foundation.units.registry import MAX_BASE
from studio.models import Revised

CODE_LENGTH = 40
REORDER = Between(0, MAX_BASE, "The amount cannot be below zero or beyond keeping.")
SHELF_LIFE = Between(
    1, LONGEST_SHELF_LIFE_DAYS, f"A shelf life is from 1 to {LONGEST_SHELF_LIFE_DAYS} days."
)


def within(name: str) -> Between:
    """A validator of the range in which a stated value of that name can be true."""
    known = RANGES[name]
    words = f"{{value}} cannot be: it is {known.told}, in {known.words}."
    return Between(known.low, known.high, words, known.above_low)


def share_between(field: str, name: str) -> models.CheckConstraint:
    """A constraint that a share is empty or between 0 and 1."""
    condition = Q(**{f"{field}__isnull": True}) | Q(**{f"{field}__gte": 0, f"{field}__lte": 1})
    return models.CheckConstraint(condition=condition, name=name)


def empty_or_positive(field: str, name: str) -> models.CheckConstraint:
    """A constraint that a value is empty or above zero."""
    condition = Q(**{f"{field}__isnull": True}) | Q(**{f"{field}__gt": 0})
    return models.CheckConstraint(condition=condition, name=name)


class Material(Revised):
    """A material with its nominal values; a lot's own certificate values go before them.

    Densities in g/mL at degrees C, saponification values in mg KOH per g (ISO 3657), iodine value
    in g per 100 g (ISO 3961), shares as fractions of 1, `piece_mass` in ng. `counted` decides the
    stock unit of every amount of this material: pieces when true, nanograms otherwise.
    """

    code = said(
        CodeField(max_length=CODE_LENGTH, unique=True),
        "Code",
        meaning="the code by which it is found everywhere",
        example="olive-oil",
    )
    name = said(
        models.CharField(max_length=120),
        "Name",
        meaning="its name",
        example="Olive oil",
    )
    kind = said(
        models.CharField(
            max_length=16, choices=[(kind.value, kind.name.capitalize()) for kind in MaterialKind]
        ),
        "What it is",
        meaning="what part it plays",
        example="fat",
    )
    counted = said(
        models.BooleanField(default=False),
        "It is counted in pieces",
        "Boxes, eggs; else it is weighed.",
        meaning="whether it is counted in pieces instead of weighed",
        example="no",
    )
    piece_mass = said(
        MassField(
            null=True,
            blank=True,
            validators=[Between(1, MAX_BASE, "One piece weighs more than nothing.")],
        ),
        "Usable weight of a piece",
        "An egg without its shell: 50 g.",
        meaning="usable mass of one piece of what is counted, an egg without its shell",
    )
    inci_name = said(
        models.CharField(max_length=200, blank=True),
        "INCI name",
        meaning="INCI name for labels",
        example="Olea Europaea Fruit Oil",
    )
    density_g_ml = said(
        FixedPointField(places=6, null=True, blank=True, validators=[within("density_g_ml")]),
        "Density, g/mL",
        meaning="density as a rule, by which volumes are weighed",
        unit="in g/mL",
        example="0.915",
    )
    density_temperature_c = said(
        FixedPointField(
            places=3, null=True, blank=True, validators=[within("density_temperature_c")]
        ),
        "at °C",
        meaning="temperature of that density",
        unit="in degrees Celsius",
        example="20",
    )
    sv_mg_koh_g = said(
        FixedPointField(places=3, null=True, blank=True, validators=[within("sv_mg_koh_g")]),
        "Saponification value, mg KOH/g",
        meaning="saponification value (ISO 3657)",
        unit="mg KOH per g",
        example="190",
    )
    sv_low_mg_koh_g = said(
        FixedPointField(places=3, null=True, blank=True, validators=[within("sv_low_mg_koh_g")]),
        "from",
        meaning="lowest usual saponification value",
        unit="mg KOH per g",
        example="184",
    )
    sv_high_mg_koh_g = said(
        FixedPointField(places=3, null=True, blank=True, validators=[within("sv_high_mg_koh_g")]),
        "to",
        meaning="highest usual saponification value",
        unit="mg KOH per g",
        example="196",
    )
    iodine_value = said(
        FixedPointField(places=3, null=True, blank=True, validators=[within("iodine_value")]),
        "Iodine value, g/100 g",
        meaning="iodine value (ISO 3961)",
        unit="g iodine per 100 g",
        example="82",
    )
    water_share = said(
        ShareField(null=True, blank=True, validators=[within("water_share")]),
        "Water in it",
        meaning="water in it, by mass",
    )
    fat_share = said(
        ShareField(null=True, blank=True, validators=[within("fat_share")]),
        "Fat in it",
        meaning="fat in what is no fat itself (milk, egg), by mass",
    )
    alkali = said(
        models.CharField(
            max_length=4, blank=True, choices=[("", "-"), ("NaOH", "NaOH"), ("KOH", "KOH")]
        ),
        "Alkali in it",
        meaning="which alkali it is, or is a lye of",
    )
    purity = said(
        ShareField(null=True, blank=True, validators=[within("purity")]),
        "Purity, or strength of a lye",
        meaning="pure alkali in it, by mass: needed for an alkali",
    )
    acid_naoh_g_per_g = said(
        FixedPointField(places=6, null=True, blank=True, validators=[within("acid_naoh_g_per_g")]),
        "NaOH that it uses up, g per g",
        "Citric acid, anhydrous: 0.6246.",
        meaning="NaOH that one gram of an acid neutralizes",
        unit="in g NaOH per g",
    )
    ifra_category9_max = said(
        ShareField(null=True, blank=True, validators=[within("ifra_category9_max")]),
        "Most in a rinse-off product (IFRA category 9)",
        meaning="certified maximum in finished soap, IFRA category 9",
    )
    tempering = said(
        models.BooleanField(default=False),
        "It brings protein that lye would cook",
        "Egg, milk: blended, strained and tempered first.",
        meaning="whether it brings protein that lye would cook (egg, milk)",
        example="no",
    )
    shelf_life_days = said(
        models.PositiveIntegerField(
            null=True, blank=True, validators=[MinValueValidator(1), SHELF_LIFE]
        ),
        "Keeps, days",
        meaning="how long it keeps from the day it comes in",
        unit="in days",
        example="540",
    )
    reorder_point = said(
        StockField(null=True, blank=True, validators=[REORDER]),
        "Reorder below",
        "2 kg, 5 lb, 40 each",
        meaning="at or below this it is to be bought again",
        example="5 kg",
    )
    reorder_to = said(
        StockField(null=True, blank=True, validators=[REORDER]),
        "Reorder up to",
        meaning="up to this it is bought",
        example="20 kg",
    )
    shelf_space = said(
        StockField(
            null=True,
            blank=True,
            validators=[Between(1, MAX_BASE, "Room is above zero, and not beyond keeping.")],
        ),
        "Room for",
        meaning="the most there is room for",
    )
    low_stock_alerts = said(
        models.BooleanField(default=True),
        "Tell when it runs low",
        meaning="whether low stock raises an alert; empty: for what is bought, not for what is "
        "made",
        example="yes",
    )
    active = said(
        models.BooleanField(default=True),
        "In use",
        meaning="whether it is still used",
        example="yes",
    )
    note = said(
        models.TextField(blank=True, max_length=2000),
        "Note",
        meaning="anything else",
    )

    history = Records()

    class Meta:
        ordering = ["code"]
        constraints = [
            share_between("water_share", "material_water_share"),
            share_between("fat_share", "material_fat_share"),
            share_between("purity", "material_purity"),
            share_between("ifra_category9_max", "material_ifra_share"),
            empty_or_positive("density_g_ml", "material_density_positive"),
            empty_or_positive("piece_mass", "material_piece_mass_positive"),
            empty_or_positive("sv_mg_koh_g", "material_sv_positive"),
            empty_or_positive("shelf_space", "material_shelf_space_positive"),
            *rules(
                material_reorder_point=Q(reorder_point__isnull=True) | Q(reorder_point__gte=0),
                material_reorder_to=Q(reorder_to__isnull=True)
                | Q(reorder_point__isnull=False, reorder_to__gte=models.F("reorder_point")),
                material_sv_range=Q(sv_low_mg_koh_g__isnull=True)
                | Q(sv_high_mg_koh_g__isnull=True)
                | Q(sv_low_mg_koh_g__lte=models.F("sv_high_mg_koh_g")),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def stock_unit(self) -> str:
        """The unit in which amounts of this material are shown: "each" or "g"."""
        return "each" if self.counted else "g"

    @property
    def acids(self) -> dict[str, Decimal]:
        """The shares of all fatty acids, by their shorthand. One query, unless they are fetched."""
        return {row.acid: row.share for row in self.fatty_acids.all()}

    def mass_of(self, amount: int) -> int:
        """What an amount in stock units weighs, in ng; pieces of unknown mass count as nothing."""
        return amount * (self.piece_mass or 0) if self.counted else amount


class FattyAcidShare(models.Model):
    """Nominal share of one fatty acid among all fatty acids of a fat (C12:0 lauric ...)."""

    material = models.ForeignKey(Material, on_delete=models.CASCADE, related_name="fatty_acids")
    acid = models.CharField(max_length=16)
    share = FixedPointField(places=6)

    class Meta:
        ordering = ["material_id", "acid"]
        constraints = [
            *rules(one_share_per_acid=("material", "acid")),
            share_between("share", "fatty_acid_share"),
        ]

    def __str__(self) -> str:
        return f"{self.acid} {self.share}"
