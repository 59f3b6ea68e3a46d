"""Standards of labor and energy in force, and what a batch is expected to take by them."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import Q

from costing.domain.bar_cost.conversion import SECONDS_PER_MINUTE, Standard, Work, work_of
from costing.models.bar_cost.conversion import LaborStandard
from recipes.queries.scaling.plans import Plan

if TYPE_CHECKING:
    from recipes.models.bench.batches import Batch
    from recipes.models.formulas.formulas import FormulaVersion


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardsInForce:
    """The newest standard of each formula that has one, and the studio's for all others."""

    own: dict[int, Standard]
    studio: Standard | None

    def work(self, version: "FormulaVersion", *, bars: int) -> Work:
        """What a batch of so many bars is expected to take; a blend has none (0).

        Without a standard it is the version's minutes, not told apart by task.
        """
        if version.formula.batter_id is not None:
            return self.work_of_soap(
                version.formula_id, bars=bars, minutes=version.minutes, cure_days=version.cure_days
            )
        return work_of(
            self._standard(version), bars=bars, is_blend=True, minutes=version.minutes, rack_days=0
        )

    def work_of_soap(self, formula: int, *, bars: int, minutes: int, cure_days: int) -> Work:
        """The same for soap by a formula (its id), with the minutes and cure of its version."""
        return work_of(
            self.own.get(formula, self.studio),
            bars=bars,
            is_blend=False,
            minutes=minutes,
            rack_days=cure_days,
        )

    def done(self, batch: "Batch", *, until: date | None = None) -> Work:
        """What a batch took: its minutes by task, its energy by the standard, its days on racks.

        Bars stand on the rack from the pour until they are released, at the longest until their
        cure is over: to store them longer is no cost of making them (IAS 2 paragraph 16(b)).
        """
        version = batch.version
        planned = self.work(version, bars=batch.bars_good or 0)
        apart = (batch.mix_minutes, batch.cut_minutes, batch.wrap_minutes)
        mix, cut, wrap = (minutes * SECONDS_PER_MINUTE for minutes in apart)
        return Work(
            mix=mix,
            cut=cut,
            wrap=wrap,
            other=(batch.minutes - sum(apart)) * SECONDS_PER_MINUTE,
            rack_days=_days(batch, until) * self.racks(version, bars=batch.bars_good or 0),
            energy_wh=planned.energy_wh,
            batches=planned.batches,
        )

    def racks(self, version: "FormulaVersion", *, bars: int) -> int:
        """How many racks so many bars take."""
        found = self._standard(version)
        return (found or Standard()).racks_for(bars)

    def _standard(self, version: "FormulaVersion") -> Standard | None:
        is_blend = version.formula.batter_id is None
        return self.own.get(version.formula_id, None if is_blend else self.studio)

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


def _days(batch: "Batch", until: date | None) -> int:
    """Days on the rack up to a day, no more than the cure takes."""
    ends = [day for day in (until, batch.cure_ready_on) if day is not None]
    if batch.poured_on is None or not ends:
        return 0
    return max((min(ends) - batch.poured_on).days, 0)


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
