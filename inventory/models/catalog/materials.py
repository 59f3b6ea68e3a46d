"""Materials: what the studio weighs, counts and buys."""

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from inventory.domain.catalog.materials import MaterialKind
from studio.foundation.model_fields import CodeField, FixedPointField, MassField, StockField
from studio.models import Revised

CODE_LENGTH = 40


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

    `counted` decides the stock unit of every amount of this material: pieces when true,
    nanograms otherwise. `piece_mass` is the usable mass of one piece (an egg without its shell).
    """

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(
        max_length=16, choices=[(kind.value, kind.name.capitalize()) for kind in MaterialKind]
    )
    counted = models.BooleanField(default=False)
    piece_mass = MassField(null=True, blank=True)
    inci_name = models.CharField(max_length=200, blank=True)
    density_g_ml = FixedPointField(places=6, null=True, blank=True)
    density_temperature_c = FixedPointField(places=3, null=True, blank=True)
    sv_mg_koh_g = FixedPointField(places=3, null=True, blank=True)
    sv_low_mg_koh_g = FixedPointField(places=3, null=True, blank=True)
    sv_high_mg_koh_g = FixedPointField(places=3, null=True, blank=True)
    iodine_value = FixedPointField(places=3, null=True, blank=True)
    water_share = FixedPointField(places=6, null=True, blank=True)
    fat_share = FixedPointField(places=6, null=True, blank=True)
    alkali = models.CharField(
        max_length=4, blank=True, choices=[("", "-"), ("NaOH", "NaOH"), ("KOH", "KOH")]
    )
    purity = FixedPointField(places=6, null=True, blank=True)
    acid_naoh_g_per_g = FixedPointField(places=6, null=True, blank=True)
    ifra_category9_max = FixedPointField(places=6, null=True, blank=True)
    tempering = models.BooleanField(
        default=False,
        help_text="Brings protein that lye would cook (egg, milk): it is blended, strained and "
        "brought to the oils' temperature first.",
    )
    shelf_life_days = models.PositiveIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1)]
    )
    reorder_point = StockField(null=True, blank=True)
    reorder_to = StockField(null=True, blank=True)
    shelf_space = StockField(null=True, blank=True)
    low_stock_alerts = models.BooleanField(default=True)
    active = models.BooleanField(default=True)
    note = models.TextField(blank=True, max_length=2000)

    history = HistoricalRecords()

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
            models.CheckConstraint(
                condition=Q(reorder_point__isnull=True) | Q(reorder_point__gte=0),
                name="material_reorder_point",
            ),
            models.CheckConstraint(
                condition=Q(reorder_to__isnull=True)
                | Q(reorder_point__isnull=False, reorder_to__gte=models.F("reorder_point")),
                name="material_reorder_to",
            ),
            models.CheckConstraint(
                condition=Q(sv_low_mg_koh_g__isnull=True)
                | Q(sv_high_mg_koh_g__isnull=True)
                | Q(sv_low_mg_koh_g__lte=models.F("sv_high_mg_koh_g")),
                name="material_sv_range",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def stock_unit(self) -> str:
        """The unit in which amounts of this material are shown: "each" or "g"."""
        return "each" if self.counted else "g"

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
            models.UniqueConstraint(fields=["material", "acid"], name="one_share_per_acid"),
            share_between("share", "fatty_acid_share"),
        ]

    def __str__(self) -> str:
        return f"{self.acid} {self.share}"
