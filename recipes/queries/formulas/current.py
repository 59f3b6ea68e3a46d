"""Current versions of recipes, and what materials made here consist of by them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from graphlib import CycleError, TopologicalSorter
from typing import TYPE_CHECKING

from django.db.models import Exists, F, OuterRef, QuerySet

from inventory.domain.catalog.certificate import NOT_CERTIFIED
from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.contents import Contents, Part, measured, mix, of_leaf
from inventory.domain.stock.leaves import leaf_of
from recipes.models.formulas.formulas import Formula, FormulaKind, FormulaLine, FormulaVersion

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

#: What a version is read with, beside its lines.
READ_WITH = ("formula__product", "formula__batter", "naoh", "koh", "masterbatch", "water")


def current_only() -> "QuerySet[FormulaVersion]":
    """The current version of each formula, to be asked for more."""
    return FormulaVersion.objects.filter(formula__current=F("pk"))


def is_trial(version: FormulaVersion) -> bool:
    """Whether a version never was current: a trial, whose bars are not what the recipe sells.

    No query for the current one, else one: the history keeps which were.
    """
    formula = version.formula
    if formula.current_id == version.pk:
        return False
    return not Formula.history.filter(id=formula.pk, current_id=version.pk).exists()


def was_current() -> Exists:
    """Whether the version of a batch is or was current, as a column of batches."""
    kept = Formula.history.filter(
        id=OuterRef("version__formula"), current_id=OuterRef("version")
    ).order_by()
    return Exists(kept)


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


def contents_of_materials(materials: Iterable["Material | None"]) -> dict[int, Contents]:
    """By material id, what each of them consists of that a recipe makes, as that recipe stands.

    All others are left out: their own values hold. Two queries a level, none where nothing among
    them is made here. What would need itself has its own values.
    """
    known = {material.pk: material for material in materials if material is not None}
    wanted = set(known)
    rows: dict[int, list[FormulaLine]] = {}
    looked: set[int] = set()
    while level := [pk for pk, m in known.items() if is_made_here(m) and pk not in looked]:
        looked.update(level)
        for pk, (_, lines) in makers_with_rows(level).items():
            rows[pk] = lines
            known.update({row.material_id: row.material for row in lines})
    found = _worked_out(known, rows)
    return {pk: contents for pk, contents in found.items() if pk in wanted}


def _worked_out(
    known: Mapping[int, "Material"], rows: Mapping[int, list[FormulaLine]]
) -> dict[int, Contents]:
    order = TopologicalSorter({pk: [r.material_id for r in lines] for pk, lines in rows.items()})
    try:
        inside_out = list(order.static_order())
    except CycleError:
        return {}
    found: dict[int, Contents] = {}
    for pk in inside_out:
        if pk in rows:
            parts = [
                Part(
                    found.get(row.material_id) or of_leaf(leaf_of(known[row.material_id])),
                    row.amount,
                    not row.strained,
                )
                for row in rows[pk]
            ]
            out = sum(part.mass for part in parts if part.stays)
            found[pk] = measured(mix(parts, out=out), NOT_CERTIFIED, leaf_of(known[pk]))
    return found
