"""Products: what is sold, a recipe's bar packed in a certain way."""

from django.db import models
from simple_history.models import HistoricalRecords

from costing.models.bar_cost.packaging import CODE_LENGTH, PackagingSet
from studio.foundation.model_fields import CodeField
from studio.models import Revised


class Product(Revised):
    """A bar as it is sold. Its stock are the bar lots of the formula.

    `mold` is the one its batches are usually made in: what a bar costs to replace, and how many
    bars a batch adds, is worked out from the formula's newest version in it. Two products may be
    the same bar, packed in two ways.
    """

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    name = models.CharField(max_length=120)
    formula = models.ForeignKey(
        "recipes.Formula", on_delete=models.PROTECT, related_name="products"
    )
    mold = models.ForeignKey("recipes.Mold", on_delete=models.PROTECT, related_name="products")
    packaging_set = models.ForeignKey(
        PackagingSet, on_delete=models.PROTECT, null=True, blank=True, related_name="products"
    )
    active = models.BooleanField(default=True)
    note = models.TextField(blank=True, max_length=2000)

    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name
