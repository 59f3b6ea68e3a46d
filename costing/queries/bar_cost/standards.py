"""Standards of labor and energy in force, and what a batch is expected to take by them."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import Q

from costing.domain.bar_cost.conversion import Standard, Told, Work, expected_work, work_of
from costing.domain.rates.rates import Task
from costing.models.bar_cost.conversion import LaborStandard
from recipes.queries.scaling.plans import Plan

if TYPE_CHECKING:
    from recipes.models.bench.batches import Batch
    from recipes.models.formulas.formulas import FormulaVersion

#: For tasks of a batch that nobody told the minutes of.
STANDS_IN = "Nobody told the minutes of {tasks}: the {named} stands in."
_WORDS: Mapping[Task, str] = {Task.MIX: "mixing", Task.CUT: "cutting", Task.WRAP: "wrapping"}


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardsInForce:
    """The newest standard of each formula that has one, and the studio's for all others."""

    own: dict[int, Standard]
    studio: Standard | None

    def work(self, version: "FormulaVersion", *, bars: int) -> Work:
        """What a batch of so many bars is expected to take; a blend has none (0).

        Without a standard it is the version's minutes, not told apart by task; where it states
        none either, nobody knows.
        """
        if version.formula.batter_id is not None:
            return self.work_of_soap(
                version.formula_id, bars=bars, minutes=version.minutes, cure_days=version.cure_days
            )
        return work_of(
            self._standard(version), bars=bars, is_blend=True, minutes=version.minutes, rack_days=0
        )

    def work_of_soap(self, formula: int, *, bars: int, minutes: int | None, cure_days: int) -> Work:
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

        For a task that nobody told the minutes of stands what it is expected to take. Bars stand
        on the rack from the pour until they are released, at the longest until their cure is over:
        to store them longer is no cost of making them (IAS 2 paragraph 16(b)).
        """
        version = batch.version
        bars = batch.bars_good or 0
        took = self.expected(batch, bars=bars)
        return replace(took, rack_days=_days(batch, until) * self.racks(version, bars=bars))

    def expected(self, batch: "Batch", *, bars: int) -> Work:
        """What a batch takes: what was told of it so far, and what is planned for the rest."""
        planned = self.work(batch.version, bars=bars)
        return expected_work(told_of(batch), planned, is_blend=is_blend(batch))

    def stand_in_note(self, batch: "Batch") -> str:
        """In words, for which tasks nobody told the minutes, and what stands in for them."""
        tasks = told_of(batch).untold(is_blend=is_blend(batch))
        if not tasks or self.work(batch.version, bars=batch.bars_good or 0).seconds is None:
            return ""
        named = "time of the recipe" if self._standard(batch.version) is None else "labor standard"
        return STANDS_IN.format(tasks=" and ".join(_WORDS[task] for task in tasks), named=named)

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
    return standards_of_days(formulas, days=[on])[on]


def standards_of_days(
    formulas: Collection[int], *, days: Collection[date]
) -> dict[date, StandardsInForce]:
    """The same on each of several days. One query, none without a day."""
    if not days:
        return {}
    rows = list(
        LaborStandard.objects.filter(
            Q(formula__in=list(formulas)) | Q(formula__isnull=True), effective_from__lte=max(days)
        ).order_by("effective_from")
    )
    return {on: _in_force(rows, on) for on in days}


def _in_force(rows: Collection[LaborStandard], on: date) -> StandardsInForce:
    newest = {row.formula_id: _standard(row) for row in rows if row.effective_from <= on}
    studio = newest.pop(None, None)
    return StandardsInForce(own={pk: each for pk, each in newest.items() if pk}, studio=studio)


def told_of(batch: "Batch") -> Told:
    """The minutes that were told of a batch."""
    return Told(mix=batch.mix_minutes, cut=batch.cut_minutes, wrap=batch.wrap_minutes)


def is_blend(batch: "Batch") -> bool:
    """Whether it makes no bars: it is only mixed."""
    return batch.version.formula.batter_id is None


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
