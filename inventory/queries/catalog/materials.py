"""Materials by the codes that people write, by their ids, and to choose from in a form."""

from collections.abc import Iterable

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
