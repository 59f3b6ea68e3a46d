"""Materials to choose from in a form."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import prefetch_related_objects

from inventory.models.catalog.materials import Material
from inventory.queries.catalog.materials import materials_by_code


@dataclass(frozen=True, slots=True)
class MaterialChoice:
    """What a form has to know of a material that can be chosen."""

    code: str
    name: str
    kind: str
    alkali: str
    counted: bool
    water_share: Decimal | None


def material_choices() -> list[MaterialChoice]:
    """The active materials by name. One query."""
    rows = Material.objects.filter(active=True).order_by("name", "code")
    return [
        MaterialChoice(*row)
        for row in rows.values_list("code", "name", "kind", "alkali", "counted", "water_share")
    ]


def materials_with_acids(codes: Iterable[str]) -> dict[str, Material]:
    """Materials by code, their fatty acids read along. Two queries."""
    found = materials_by_code(codes)
    prefetch_related_objects(list(found.values()), "fatty_acids")
    return found
