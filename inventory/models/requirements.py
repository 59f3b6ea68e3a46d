"""Dated requirements: what plans will need, written by whoever plans."""

from django.db import models
from django.db.models import Q

from inventory.models.materials import Material
from studio.model_fields import StockField


class Requirement(models.Model):
    """An amount of a material needed by `holder` ("batch:B-00012") on a day.

    While the holder has an open reservation the requirement is covered and the projection leaves
    it out; the planner deletes it when the need is over.
    """

    holder = models.CharField(max_length=80, db_index=True)
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="requirements")
    due_on = models.DateField()
    amount = StockField()

    class Meta:
        ordering = ["due_on", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["holder", "material"], name="one_requirement_per_holder_and_material"
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="requirement_amount"),
        ]

    def __str__(self) -> str:
        return f"{self.holder}: {self.amount} of {self.material_id}"
