"""Standards of labor and energy in force, and what a batch is expected to take by them."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import Q

from costing.domain.conversion import Work
from costing.domain.labor_standard import Standard, work_of
from costing.models import LaborStandard
from recipes.services.planning import Plan

if TYPE_CHECKING:
    from recipes.models import FormulaVersion


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardsInForce:
    """The newest standard of each formula that has one, and the studio's for all others."""

    own: dict[int, Standard]
    studio: Standard | None

    def work(self, version: "FormulaVersion", *, bars: int) -> Work:
        """What a batch of so many bars is expected to take; a blend has none (0).

        Without a standard it is the version's minutes, not told apart by task.
        """
        is_blend = version.formula.batter_id is None
        shared = None if is_blend else self.studio
        standard = self.own.get(version.formula_id, shared)
        return work_of(
            standard,
            bars=bars,
            is_blend=is_blend,
            minutes=version.minutes,
            rack_days=0 if is_blend else version.cure_days,
        )

    def work_of_plan(self, plan: Plan) -> Work:
        """What a plan is expected to take."""
        return self.work(plan.loaded.version, bars=plan.bars)


def standards_of_day(formulas: Collection[int], *, on: date) -> StandardsInForce:
    """The standards in force on a day for these formulas (ids). One query."""
    rows = LaborStandard.objects.filter(
        Q(formula__in=list(formulas)) | Q(formula__isnull=True), effective_from__lte=on
    ).order_by("effective_from")
    newest = {row.formula_id: _standard(row) for row in rows}
    studio = newest.pop(None, None)
    return StandardsInForce(own={pk: each for pk, each in newest.items() if pk}, studio=studio)


def _standard(row: LaborStandard) -> Standard:
    return Standard(
        mix_minutes=row.mix_minutes,
        mix_seconds_per_bar=row.mix_seconds_per_bar,
        cut_minutes=row.cut_minutes,
        cut_seconds_per_bar=row.cut_seconds_per_bar,
        wrap_minutes=row.wrap_minutes,
        wrap_seconds_per_bar=row.wrap_seconds_per_bar,
        energy_wh=row.energy_wh,
        bars_per_rack=row.bars_per_rack,
    )
