"""What plans will need and what they will make, dated, written by whoever plans."""

from django.db import models
from django.db.models import Q

from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from studio.foundation.model_fields import StockField, rules


class Requirement(models.Model):
    """An amount of a material needed by `holder` ("batch:B-00012") on a day.

    What the holder's open reservation holds of the material covers the requirement, so the
    projection counts only what is beyond that; the planner deletes it when the need is over.
    """

    holder = models.CharField(max_length=80, db_index=True)
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="requirements")
    due_on = models.DateField()
    amount = StockField()

    class Meta:
        ordering = ["due_on", "id"]
        constraints = rules(
            one_requirement_per_holder_and_material=("holder", "material"),
            requirement_amount=Q(amount__gt=0),
        )

    def __str__(self) -> str:
        return f"{self.holder}: {self.amount} of {self.material_id}"


class ExpectedMake(models.Model):
    """An amount of a material that `holder` ("batch:B-00012") will have made by a day.

    The counterpart of `Requirement`: it counts as supply until the planner deletes it, because the
    lot may be used or the batch was called off. `days_to_make` is how long it takes from the day it
    is begun, so what is overdue and not begun comes no sooner than that; 0 once it is under way.
    `lot` is what stands of it already and may not be used yet, such as poured soap or curing bars:
    no more comes than is there, and nothing of a blocked lot.
    """

    holder = models.CharField(max_length=80, db_index=True)
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="expected_makes")
    due_on = models.DateField()
    amount = StockField()
    days_to_make = models.PositiveIntegerField(default=0)
    lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="expected_makes"
    )

    class Meta:
        ordering = ["due_on", "id"]
        constraints = rules(
            one_make_per_holder_and_material=("holder", "material"),
            expected_make_amount=Q(amount__gt=0),
        )

    def __str__(self) -> str:
        return f"{self.holder}: {self.amount} of {self.material_id}"
