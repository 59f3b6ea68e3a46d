"""Where lots stand."""

from django.db import models

from inventory.domain.stock.locations import LocationKind
from inventory.models.catalog.materials import CODE_LENGTH
from studio.foundation.model_fields import CodeField
from studio.models import Revised


class Location(Revised):
    """A place in the studio: a shelf, a curing rack, a cold place."""

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(
        max_length=12, choices=[(kind.value, kind.value) for kind in LocationKind]
    )
    active = models.BooleanField(default=True)
    note = models.TextField(blank=True, max_length=2000)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name
