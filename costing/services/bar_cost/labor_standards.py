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
    """What a batch is expected to take; `formula` by its code, None for any without its own."""

    formula: str | None = None
    effective_from: date
    mix_minutes: int = 0
    mix_seconds_per_bar: int = 0
    cut_minutes: int = 0
    cut_seconds_per_bar: int = 0
    wrap_minutes: int = 0
    wrap_seconds_per_bar: int = 0
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
        setattr(row, name, getattr(described, name))
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
        if not 0 <= getattr(described, name) <= most:
            faults.add("out-of-range", f"From 0 to {most}.", name)
    if described.bars_per_rack is not None and not 1 <= described.bars_per_rack <= MOST_BARS:
        faults.add("out-of-range", f"From 1 to {MOST_BARS} bars.", "bars_per_rack")
    faults.raise_if_any(StandardRefusal)
