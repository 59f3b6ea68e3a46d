"""Current versions of recipes, and what materials made here consist of by them."""

from collections import defaultdict
from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.db.models import F, QuerySet

from inventory.domain.catalog.materials import MaterialKind
from recipes.models.formulas.formulas import FormulaKind, FormulaLine, FormulaVersion

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

#: What a version is read with, beside its lines.
READ_WITH = ("formula__product", "formula__batter", "naoh", "koh", "masterbatch", "water")


def current_only() -> "QuerySet[FormulaVersion]":
    """The current version of each formula, to be asked for more."""
    return FormulaVersion.objects.filter(formula__current=F("pk"))


def makers_with_rows(
    materials: Iterable[int],
) -> dict[int, tuple[FormulaVersion, list[FormulaLine]]]:
    """The current version of the active blend that makes each material, with its lines.

    Two queries. Of several blends that make the same, the first by code.
    """
    versions = (
        current_only()
        .filter(
            formula__product__in=list(materials),
            formula__product__counted=False,
            formula__kind=FormulaKind.BLEND,
            formula__active=True,
        )
        .select_related(*READ_WITH)
        .order_by("formula__product", "-formula__code")
    )
    chosen = {version.formula.product_id: version for version in versions}
    rows: dict[int, list[FormulaLine]] = defaultdict(list)
    lines = FormulaLine.objects.filter(version__in=[version.pk for version in chosen.values()])
    for row in lines.select_related("material").order_by("version", "position"):
        rows[row.version_id].append(row)
    return {pk: (version, rows[version.pk]) for pk, version in chosen.items()}


def is_made_here(material: "Material") -> bool:
    """Whether blends make it, so that a recipe may say what it consists of."""
    return material.kind == MaterialKind.INTERMEDIATE.value
