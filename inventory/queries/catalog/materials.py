"""Materials by the codes that people write, by their ids, and to choose from in a form."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import QuerySet, prefetch_related_objects

from inventory.domain.catalog.materials import MADE_HERE
from inventory.models.catalog.materials import Material

#: What is made here in pieces is not packed with.
_BARS = [kind.value for kind in MADE_HERE]


def materials_by_code(codes: Iterable[str]) -> dict[str, Material]:
    """The materials that have one of these codes, by code. One query."""
    return {material.code: material for material in Material.objects.filter(code__in=set(codes))}


def materials_by_id(ids: Iterable[int]) -> dict[int, Material]:
    """These materials, by id. One query."""
    return {material.pk: material for material in Material.objects.filter(pk__in=set(ids))}


def counted_materials() -> list[Material]:
    """What is counted in pieces and in use, by name. One query."""
    return list(
        Material.objects.filter(counted=True, active=True).exclude(kind__in=_BARS).order_by("name")
    )


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


def wanted_materials(asked: "QuerySet[Material] | Iterable[int] | None") -> "QuerySet[Material]":
    """The materials of a queryset or with these ids; all active ones where nobody asks for any."""
    if asked is None:
        return Material.objects.filter(active=True)
    return asked if isinstance(asked, QuerySet) else Material.objects.filter(pk__in=list(asked))
