"""Recipes as lists show them: what became of versions, what goes into which, what makes what."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, F, Max, Q, QuerySet

from inventory.domain.catalog.materials import MaterialKind
from inventory.queries.catalog.makers import Making, Use
from recipes.domain.chemistry.blends import alkali_in
from recipes.models.bench.batches import Batch, BatchState
from recipes.models.formulas.formulas import Formula, FormulaKind, FormulaLine, FormulaVersion
from recipes.queries.formulas.current import READ_WITH, contents_of_materials, current_only
from recipes.queries.formulas.formulas import LoadedFormula, load_formula, loaded_from, pour_of
from recipes.queries.scales.scales import KeptScales, kept_scales

_AS_LYE = ("naoh", "koh", "masterbatch", "water")


def formulas_listed() -> "QuerySet[Formula]":
    """Recipes with `current_version` and `newest_version` (numbers), `batches_made` and `last_made`
    (the day of the last pour)."""
    made = Q(versions__batches__poured_on__isnull=False) & ~Q(
        versions__batches__state=BatchState.CANCELLED
    )
    return Formula.objects.annotate(
        newest_version=Max("versions__number"),
        current_version=F("current__number"),
        batches_made=Count("versions__batches", filter=made),
        last_made=Max("versions__batches__poured_on", filter=made),
    )


def versions_of(code: str) -> "QuerySet[FormulaVersion]":
    """The versions of a recipe, the newest first, with `made` and `last_made`. One query."""
    poured = Q(batches__poured_on__isnull=False) & ~Q(batches__state=BatchState.CANCELLED)
    return (
        FormulaVersion.objects.filter(formula__code=code)
        .select_related("by", "formula")
        .annotate(
            made=Count("batches", filter=poured), last_made=Max("batches__poured_on", filter=poured)
        )
        .order_by("-number")
    )


def latest_batches(code: str, *, most: int) -> list[Batch]:
    """The latest batches of a recipe that are not called off. One query."""
    rows = Batch.objects.filter(version__formula__code=code).exclude(state=BatchState.CANCELLED)
    return list(rows.select_related("version", "mold").order_by("-planned_on", "-id")[:most])


@dataclass(frozen=True, slots=True)
class Head:
    """Which version of a formula is current, by id, and since when it never changes."""

    version: int
    created_at: datetime
    frozen_at: datetime | None


def current_heads(formulas: Iterable[int]) -> dict[int, Head]:
    """The current version of each formula, by formula id, without its rows. One query."""
    current = current_only().filter(formula__in=list(formulas))
    rows = current.values_list("formula", "pk", "created_at", "frozen_at")
    return {formula: Head(pk, created, frozen) for formula, pk, created, frozen in rows}


def current_versions(
    formulas: Iterable[int], *, scales: KeptScales | None = None
) -> dict[int, LoadedFormula]:
    """The current version of each formula, by formula id; none for a formula without a version.

    Six queries, however many formulas, one less for scales that are read already, and two a level
    of what is made here; a material is read once. Fatty acids are not read.
    """
    versions = list(
        current_only()
        .filter(formula__in=list(formulas))
        .select_related(*READ_WITH)
        .prefetch_related("portions", "layers")
    )
    rows: dict[int, list[FormulaLine]] = defaultdict(list)
    lines = FormulaLine.objects.filter(version__in=[version.pk for version in versions])
    for row in lines.prefetch_related("material").order_by("version", "position"):
        rows[row.version_id].append(row)
    used = [row.material for some in rows.values() for row in some]
    contents = contents_of_materials([*used, *(version.masterbatch for version in versions)])
    kept = kept_scales() if scales is None else scales
    return {
        version.formula_id: loaded_from(
            version, rows[version.pk], pour=pour_of(version), contents=contents, scales=kept
        )
        for version in versions
    }


def active_soaps() -> list[Formula]:
    """Every soap that is still made, by code. One query."""
    return list(Formula.objects.filter(kind=FormulaKind.SOAP, active=True).order_by("code"))


def recipes_with(code: str) -> list[Use]:
    """Recipes in use of which the current version takes the material, by name. One query."""
    takes = Q(lines__material__code=code)
    for role in _AS_LYE:
        takes |= Q(**{f"{role}__code": code})
    versions = (
        current_only()
        .filter(takes, formula__active=True)
        .select_related("formula")
        .order_by("formula__name", "formula_id")
        .distinct()
    )
    return [
        Use(
            name=version.formula.name,
            code=version.formula.code,
            page="recipe-page",
            note=f"version {version.number}",
        )
        for version in versions
    ]


def recipes_making(material_id: int) -> list[Making]:
    """The recipes whose product or poured soap a material is, each with the alkali of a blend as
    its current version stands. One query, and those of `load_formula` for each blend.
    """
    formulas = Formula.objects.filter(Q(product=material_id) | Q(batter=material_id))
    return [_making(formula, material_id) for formula in formulas.order_by("code")]


def _making(formula: Formula, material_id: int) -> Making:
    words = f"recipe {formula.code}"
    if formula.kind == FormulaKind.BLEND:
        return Making(words=words, kind=MaterialKind.INTERMEDIATE, alkali=_alkali(formula))
    if formula.batter_id == material_id:
        return Making(words=words, kind=MaterialKind.BATTER)
    return Making(words=words, kind=MaterialKind.BAR, counted=True)


def _alkali(formula: Formula) -> str:
    if formula.current_id is None:
        return ""
    return alkali_in(load_formula(code=formula.code).blend)
