"""Packaging sets: what a bar is packed with for the shop, and what its shipping carton takes."""

from django.db import models
from django.db.models import Q

from studio.foundation.model_fields import CodeField, rules
from studio.models import Revised

CODE_LENGTH = 40


class PackagingSet(Revised):
    """How a product is packed to order: by name; what it takes stands in its editions."""

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    name = models.CharField(max_length=120)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class PackagingEdition(models.Model):
    """What the set takes from a day on, until its next edition: old batches keep the old one."""

    packaging_set = models.ForeignKey(
        PackagingSet, on_delete=models.PROTECT, related_name="editions"
    )
    effective_from = models.DateField()
    bars_per_carton = models.PositiveIntegerField()

    class Meta:
        ordering = ["packaging_set_id", "-effective_from"]
        constraints = rules(
            one_packaging_edition_per_day=("packaging_set", "effective_from"),
            packaging_carton_holds_bars=Q(bars_per_carton__gt=0),
        )

    def __str__(self) -> str:
        return f"{self.packaging_set_id} from {self.effective_from}"


class PackagingPiece(models.Model):
    """So many pieces of a counted material for each bar, or for each shipping carton."""

    class Per(models.TextChoices):
        BAR = "bar"
        CARTON = "carton"

    edition = models.ForeignKey(PackagingEdition, on_delete=models.CASCADE, related_name="pieces")
    material = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, related_name="+")
    per = models.CharField(max_length=6, choices=Per.choices)
    pieces = models.PositiveIntegerField()

    class Meta:
        ordering = ["edition_id", "per", "id"]
        constraints = rules(
            one_packaging_piece_per_material=("edition", "material", "per"),
            packaging_pieces_positive=Q(pieces__gt=0),
            packaging_piece_known_per=Q(per__in=["bar", "carton"]),
        )

    def __str__(self) -> str:
        return f"{self.pieces} of {self.material_id} per {self.per}"
