"""Materials by the codes that people write."""

from collections.abc import Iterable

from inventory.models import Material


def materials_by_code(codes: Iterable[str]) -> dict[str, Material]:
    """The materials that have one of these codes, by code. One query."""
    return {material.code: material for material in Material.objects.filter(code__in=set(codes))}
