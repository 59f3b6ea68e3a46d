"""The newest versions of many formulas at once."""

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import OuterRef, Subquery

from recipes.models import Formula, FormulaKind, FormulaLine, FormulaVersion
from recipes.queries.formulas import LoadedFormula, loaded_from, pour_of


def newest_versions(formulas: Iterable[int]) -> dict[int, LoadedFormula]:
    """The newest version of each formula, by formula id; none for a formula without a version.

    Four queries, however many formulas. Fatty acids are not read.
    """
    newest = (
        FormulaVersion.objects.filter(formula=OuterRef("formula"))
        .order_by("-number")
        .values("number")[:1]
    )
    versions = list(
        FormulaVersion.objects.filter(formula__in=list(formulas), number=Subquery(newest))
        .select_related("formula__product", "formula__batter", "naoh", "koh", "masterbatch")
        .select_related("water")
        .prefetch_related("portions", "layers")
    )
    rows: dict[int, list[FormulaLine]] = defaultdict(list)
    lines = FormulaLine.objects.filter(version__in=[version.pk for version in versions])
    for row in lines.select_related("material").order_by("version", "position"):
        rows[row.version_id].append(row)
    return {
        version.formula_id: loaded_from(version, rows[version.pk], pour=pour_of(version))
        for version in versions
    }


def active_soaps() -> list[Formula]:
    """Every soap that is still made, by code. One query."""
    return list(Formula.objects.filter(kind=FormulaKind.SOAP, active=True).order_by("code"))
