"""The newest versions of many formulas at once."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from django.db.models import OuterRef, Subquery

from recipes.models.formulas.formulas import Formula, FormulaKind, FormulaLine, FormulaVersion
from recipes.queries.formulas.formulas import LoadedFormula, loaded_from, pour_of

if TYPE_CHECKING:
    from django.db.models import QuerySet


@dataclass(frozen=True, slots=True)
class Head:
    """Which version of a formula is the newest, by id, and since when it never changes."""

    version: int
    created_at: datetime
    frozen_at: datetime | None


def newest_heads(formulas: Iterable[int]) -> dict[int, Head]:
    """The newest version of each formula, by formula id, without its rows. One query."""
    rows = _newest(formulas).values_list("formula", "pk", "created_at", "frozen_at")
    return {formula: Head(pk, created, frozen) for formula, pk, created, frozen in rows}


def newest_versions(formulas: Iterable[int]) -> dict[int, LoadedFormula]:
    """The newest version of each formula, by formula id; none for a formula without a version.

    Five queries, however many formulas; a material is read once. Fatty acids are not read.
    """
    versions = list(
        _newest(formulas)
        .select_related("formula__product", "formula__batter", "naoh", "koh", "masterbatch")
        .select_related("water")
        .prefetch_related("portions", "layers")
    )
    rows: dict[int, list[FormulaLine]] = defaultdict(list)
    lines = FormulaLine.objects.filter(version__in=[version.pk for version in versions])
    for row in lines.prefetch_related("material").order_by("version", "position"):
        rows[row.version_id].append(row)
    return {
        version.formula_id: loaded_from(version, rows[version.pk], pour=pour_of(version))
        for version in versions
    }


def active_soaps() -> list[Formula]:
    """Every soap that is still made, by code. One query."""
    return list(Formula.objects.filter(kind=FormulaKind.SOAP, active=True).order_by("code"))


def _newest(formulas: Iterable[int]) -> "QuerySet[FormulaVersion]":
    newest = (
        FormulaVersion.objects.filter(formula=OuterRef("formula"))
        .order_by("-number")
        .values("number")[:1]
    )
    return FormulaVersion.objects.filter(formula__in=list(formulas), number=Subquery(newest))
