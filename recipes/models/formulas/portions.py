"""Color portions of a version, and the order in which they are poured."""

from django.db import models
from django.db.models import Q

from recipes.domain.bench.pours import Place
from recipes.domain.formulas.portions import LONGEST_NAME
from studio.foundation.model_fields import FixedPointField


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
        constraints = [
            models.UniqueConstraint(fields=["version", "position"], name="one_portion_a_position"),
            models.UniqueConstraint(fields=["version", "name"], name="one_portion_a_name"),
            models.CheckConstraint(condition=Q(share__gt=0, share__lte=1), name="portion_share"),
        ]

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
        constraints = [
            models.UniqueConstraint(fields=["version", "position"], name="one_layer_a_position"),
            models.CheckConstraint(condition=Q(share__gt=0, share__lte=1), name="layer_share"),
        ]

    def __str__(self) -> str:
        return f"{self.version_id}.{self.position}"
