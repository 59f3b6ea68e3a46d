"""Labor standards: each holds from its day until the next one of its formula."""

from dataclasses import dataclass
from datetime import date

from django.db import transaction

from costing.errors import StandardRefusal, StandardTaken
from costing.models.bar_cost.conversion import LaborStandard
from costing.services.rows import keep_row, row_to_change
from recipes.domain.weighing import MOST_BARS
from recipes.queries.formulas.formulas import formula_by_code
from recipes.services.formulas.version_check import MOST_MINUTES
from studio.foundation.doers import By
from studio.foundation.errors import Faults

LONGEST_SECONDS = 86_400
MOST_ENERGY_WH = 10**9
_LABOR = (
    *("mix_minutes", "mix_seconds_per_bar", "cut_minutes", "cut_seconds_per_bar"),
    *("wrap_minutes", "wrap_seconds_per_bar"),
)
_LIMITS = {
    "mix_minutes": MOST_MINUTES,
    "mix_seconds_per_bar": LONGEST_SECONDS,
    "cut_minutes": MOST_MINUTES,
    "cut_seconds_per_bar": LONGEST_SECONDS,
    "wrap_minutes": MOST_MINUTES,
    "wrap_seconds_per_bar": LONGEST_SECONDS,
    "energy_wh": MOST_ENERGY_WH,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardDescription:
    """What a batch is expected to take; `formula` by its code, None for any without its own.

    It is a standard of labor, so the time of some task is stated; tasks left out take none then.
    """

    formula: str | None = None
    effective_from: date
    mix_minutes: int | None = None
    mix_seconds_per_bar: int | None = None
    cut_minutes: int | None = None
    cut_seconds_per_bar: int | None = None
    wrap_minutes: int | None = None
    wrap_seconds_per_bar: int | None = None
    energy_wh: int = 0
    bars_per_rack: int | None = None


@transaction.atomic
def save_standard(
    described: StandardDescription, *, row_id: int | None = None, by: By = None
) -> LaborStandard:
    """Keep a labor standard: a new one, or in place of what `row_id` was.

    Batches that are planned keep the standard cost of their plan. Raises StandardRefusal for
    amounts that cannot be, StandardTaken when the formula has another one from that day, NotFound
    for an unknown formula or id.
    """
    _check(described)
    row = row_to_change(LaborStandard, row_id)
    row.formula = None if described.formula is None else formula_by_code(described.formula)
    row.effective_from = described.effective_from
    for name in (*_LIMITS, "bars_per_rack"):
        value = getattr(described, name)
        setattr(row, name, 0 if value is None and name in _LABOR else value)
    named = described.formula or "all other recipes"
    taken = StandardTaken(
        f"A labor standard of {named} from {described.effective_from} is there already; "
        "change it, or start on another day.",
        field="effective_from",
    )
    return keep_row(row, by=by, taken=taken)


def _check(described: StandardDescription) -> None:
    faults = Faults()
    for name, most in _LIMITS.items():
        if not 0 <= (getattr(described, name) or 0) <= most:
            faults.add("out-of-range", f"From 0 to {most}.", name)
    if all(getattr(described, name) is None for name in _LABOR):
        faults.add("time-not-stated", "Say how long some task takes; 0 is an answer.", _LABOR[0])
    if described.bars_per_rack is not None and not 1 <= described.bars_per_rack <= MOST_BARS:
        faults.add("out-of-range", f"From 1 to {MOST_BARS} bars.", "bars_per_rack")
    faults.raise_if_any(StandardRefusal)
