"""Cost of conversion: labor by task, and overhead by what drives it (IAS 2 paragraphs 12 to 14).

Labor is mixing, cutting and wrapping, and what was not told apart. Overhead comes by the batch, by
the labor hour, by the rack and week of curing, and as energy. Quantities are whole: seconds of
labor, batches, days on one rack, watt-hours; money is ten-thousandths.

What is taken without a rate for it, or for a time that nobody told, is not known, and never zero:
minutes of 0 are an answer, too. Overhead by the batch belongs to
soap: a blend is mixed for a batch of soap, which bears it, and takes of overhead what its own hours
and energy take (IAS 2 paragraph 12: allocated systematically).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

from costing.domain.rates.rates import RateKind, Rates, Task
from studio.foundation.money import split

SECONDS_PER_MINUTE = 60
SECONDS_PER_HOUR = 3600
DAYS_PER_WEEK = 7
WH_PER_KWH = 1000


class Effort(StrEnum):
    """What a batch took to make, beside its materials."""

    MIX = "labor_mix"
    CUT = "labor_cut"
    WRAP = "labor_wrap"
    LABOR = "labor"
    BATCH = "batch"
    LABOR_HOUR = "labor_hour"
    RACK = "rack"
    ENERGY = "energy"


LABOR_EFFORTS: tuple[Effort, ...] = (Effort.MIX, Effort.CUT, Effort.WRAP, Effort.LABOR)
#: How much of an effort its rate pays for.
RATED_BY: Mapping[Effort, int] = MappingProxyType(
    {
        **dict.fromkeys((*LABOR_EFFORTS, Effort.LABOR_HOUR), SECONDS_PER_HOUR),
        Effort.BATCH: 1,
        Effort.RACK: DAYS_PER_WEEK,
        Effort.ENERGY: WH_PER_KWH,
    }
)


#: The rate that pays for an effort.
_PAID_BY: Mapping[Effort, Callable[[Rates], int | None]] = MappingProxyType(
    {
        Effort.MIX: lambda rates: rates.labor_for(Task.MIX),
        Effort.CUT: lambda rates: rates.labor_for(Task.CUT),
        Effort.WRAP: lambda rates: rates.labor_for(Task.WRAP),
        Effort.LABOR: lambda rates: rates.labor_per_hour,
        Effort.BATCH: lambda rates: rates.overhead_per_batch,
        Effort.LABOR_HOUR: lambda rates: rates.overhead_per_labor_hour,
        Effort.RACK: lambda rates: rates.rack_per_week,
        Effort.ENERGY: lambda rates: rates.energy_per_kwh,
    }
)
#: The rate that is asked for where an effort has none.
MISSED: Mapping[Effort, RateKind] = MappingProxyType(
    {
        **dict.fromkeys(LABOR_EFFORTS, RateKind.LABOR_HOUR),
        Effort.BATCH: RateKind.OVERHEAD_BATCH,
        Effort.LABOR_HOUR: RateKind.OVERHEAD_LABOR_HOUR,
        Effort.RACK: RateKind.OVERHEAD_RACK_WEEK,
        Effort.ENERGY: RateKind.ENERGY_KWH,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What a batch takes: seconds by task (`other`: not told apart), days on racks, watt-hours.

    `other` is None where nobody told how long the rest of its labor took. `batches` is how often it
    bears the overhead by the batch: once, a blend not at all.
    """

    mix: int = 0
    cut: int = 0
    wrap: int = 0
    other: int | None = 0
    rack_days: int = 0
    energy_wh: int = 0
    batches: int = 1

    @property
    def seconds(self) -> int | None:
        """All labor together; None where some of it was not told."""
        return None if self.other is None else self.mix + self.cut + self.wrap + self.other


@dataclass(frozen=True, slots=True, kw_only=True)
class ConversionLine:
    """One effort: how much of it, at which rate (by the hour, batch, week or kWh), and its cost.

    The rate is None where none was in force, the quantity where nobody told it: what it cost is not
    known then. Of a rate of 0 no time costs anything. A rack without a rate is not told apart, and
    costs nothing of its own.
    """

    effort: Effort
    quantity: int | None
    rate: int | None
    cost: int | None

    @property
    def is_labor(self) -> bool:
        """Whether it is labor; everything else is overhead."""
        return self.effort in LABOR_EFFORTS


@dataclass(frozen=True, slots=True, kw_only=True)
class ConversionCost:
    """Labor and overhead of a batch: what it took to make it (IAS 2 paragraph 12).

    `labor` and `overhead` are what is known of them; `unknown` are the efforts whose cost is not.
    """

    minutes: int
    labor: int
    overhead: int
    lines: tuple[ConversionLine, ...] = field(default=())
    unknown: tuple[Effort, ...] = ()

    @property
    def at_least(self) -> int:
        """What is known of labor and overhead together."""
        return self.labor + self.overhead

    @property
    def total(self) -> int | None:
        """Labor and overhead together; None where some of it is not known."""
        return None if self.unknown else self.at_least

    @property
    def missed(self) -> tuple[RateKind, ...]:
        """The kinds of rates that what is not known waits for."""
        without = (line for line in self.lines if line.cost is None and line.rate is None)
        return tuple(dict.fromkeys(MISSED[line.effort] for line in without))

    @property
    def untold(self) -> bool:
        """Whether it waits for minutes that nobody told."""
        return any(line.cost is None and line.quantity is None for line in self.lines)

    def of(self, effort: Effort) -> int:
        """What is known of the cost of one effort."""
        return sum(line.cost or 0 for line in self.lines if line.effort is effort)

    def quantity_of(self, effort: Effort) -> int:
        """How much of one effort it took, as far as told: seconds, batches, rack-days or Wh."""
        return sum(line.quantity or 0 for line in self.lines if line.effort is effort)


def conversion_cost(*, labor_minutes: int | None, rates: Rates) -> ConversionCost:
    """Labor = minutes x rate / 60, not told apart by task; overhead by the batch and labor hour.

    Labor and overhead by the hour are each rounded once, and not known without minutes (None).
    """
    seconds = None if labor_minutes is None else labor_minutes * SECONDS_PER_MINUTE
    return conversion_of(Work(other=seconds), rates)


def conversion_of(work: Work, rates: Rates) -> ConversionCost:
    """What the work of one batch costs at the rates.

    Labor is rounded once and split over its tasks by the largest remainder, so that a task told
    apart changes no total; each overhead is rounded once.
    """
    quantities = {
        **_labor_of(work),
        Effort.BATCH: work.batches,
        Effort.LABOR_HOUR: work.seconds,
        Effort.RACK: work.rack_days,
        Effort.ENERGY: work.energy_wh,
    }
    return conversion_from(_costed(quantities, rates))


def conversion_from(lines: Sequence[ConversionLine]) -> ConversionCost:
    """The same from lines that are kept."""
    labor = [line for line in lines if line.is_labor]
    return ConversionCost(
        minutes=round(Fraction(sum(line.quantity or 0 for line in labor), SECONDS_PER_MINUTE)),
        labor=sum(line.cost or 0 for line in labor),
        overhead=sum(line.cost or 0 for line in lines if not line.is_labor),
        lines=tuple(lines),
        unknown=tuple(line.effort for line in lines if line.cost is None),
    )


def filled(
    lines: Sequence[ConversionLine], rates: Rates, *, seconds: int | None = None
) -> list[ConversionLine]:
    """The lines with what was not known costed at rates that came late; the others as they are.

    `seconds` is what all of the labor is known to take by now, where its time was not told: what
    was told is taken off, and the rest is paid as any labor. What still has no rate or time stays
    not known. Labor that came late is rounded once.
    """
    told = sum(line.quantity or 0 for line in lines if line.is_labor)
    took: dict[Effort, int | None] = {
        Effort.LABOR: None if seconds is None else max(seconds - told, 0),
        Effort.LABOR_HOUR: None if seconds is None else max(seconds, told),
    }
    waiting = {
        line.effort: took.get(line.effort) if line.quantity is None else line.quantity
        for line in lines
        if line.cost is None
    }
    late = {line.effort: line for line in _costed(waiting, rates, keep_nothing=True)}
    return [late.get(line.effort, line) for line in lines]


def _labor_of(work: Work) -> dict[Effort, int | None]:
    return {
        Effort.MIX: work.mix,
        Effort.CUT: work.cut,
        Effort.WRAP: work.wrap,
        Effort.LABOR: work.other,
    }


def _costed(
    quantities: Mapping[Effort, int | None], rates: Rates, *, keep_nothing: bool = False
) -> list[ConversionLine]:
    """A line for each effort that is taken (with `keep_nothing` also for those of which none is).

    All labor is rounded once, and split over its tasks.
    """
    rated = {effort: _PAID_BY[effort](rates) for effort in quantities}
    labor = [effort for effort in quantities if effort in LABOR_EFFORTS]
    weights = [(quantities[effort] or 0) * (rated[effort] or 0) for effort in labor]
    total = round(Fraction(sum(weights), SECONDS_PER_HOUR))
    parts = split(total, weights) if sum(weights) else [0] * len(weights)
    together = dict(zip(labor, parts, strict=True))
    return [
        ConversionLine(
            effort=effort,
            quantity=quantity,
            rate=rated[effort],
            cost=_cost(effort, quantity, rated[effort], together.get(effort)),
        )
        for effort, quantity in quantities.items()
        if quantity != 0 or keep_nothing
    ]


def _cost(effort: Effort, quantity: int | None, rate: int | None, part: int | None) -> int | None:
    """What an effort costs, of labor its `part` of the whole; None where that is not known."""
    if quantity == 0 or rate == 0:
        return 0
    if rate is None:
        return 0 if effort is Effort.RACK else None
    if quantity is None:
        return None
    return round(Fraction(quantity * rate, RATED_BY[effort])) if part is None else part


def abnormal_conversion(cost: ConversionCost, *, abnormal: int, bars: int) -> int:
    """What of labor and overhead an unusual loss of bars at the cut took: an expense.

    Abnormal amounts of labor and other production costs are kept out of the cost of inventories
    (IAS 2 paragraph 16(a)). Wrapping and the cure rack come after the cut: the good bars alone
    take them, and bear them. Of what is not known no part is told.
    """
    if not abnormal:
        return 0
    later = Fraction(cost.of(Effort.WRAP) + cost.of(Effort.RACK))
    if hours := cost.quantity_of(Effort.LABOR_HOUR):
        wrapping = Fraction(cost.quantity_of(Effort.WRAP), hours)
        later += cost.of(Effort.LABOR_HOUR) * wrapping
    return round((cost.at_least - later) * Fraction(abnormal, bars))


@dataclass(frozen=True, slots=True, kw_only=True)
class Making:
    """The making of a blend for a need (a material's id): so much of a batch giving `output`."""

    need: int
    work: Work
    wanted: int
    output: int

    def part(self, cost: ConversionCost) -> int:
        """What the need takes of what is known of such a batch's labor and overhead, rounded."""
        return round(Fraction(cost.at_least * self.wanted, self.output))


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """Minutes a batch and seconds a bar by task; energy a batch; how many bars a rack holds.

    They are set for the batch (setting up, cleaning) and for the bar, so that a larger batch
    spreads its set-up over more bars.
    """

    mix_minutes: int = 0
    mix_seconds_per_bar: int = 0
    cut_minutes: int = 0
    cut_seconds_per_bar: int = 0
    wrap_minutes: int = 0
    wrap_seconds_per_bar: int = 0
    energy_wh: int = 0
    bars_per_rack: int | None = None

    def racks_for(self, bars: int) -> int:
        """How many racks so many bars take; one where it is not said how many a rack holds."""
        if not bars:
            return 0
        return 1 if self.bars_per_rack is None else -(-bars // self.bars_per_rack)


def work_of(
    standard: Standard | None, *, bars: int, is_blend: bool, minutes: int | None, rack_days: int
) -> Work:
    """What a batch of so many bars takes by its standard.

    A blend is only mixed, and bears no overhead by the batch. `minutes` are those of the recipe
    (None: not stated), which hold where there is no standard; bars stand on the rack for
    `rack_days`.
    """
    batches = 0 if is_blend else 1
    if standard is None:
        return Work(
            other=None if minutes is None else minutes * SECONDS_PER_MINUTE,
            rack_days=rack_days if bars else 0,
            batches=batches,
        )
    return Work(
        batches=batches,
        mix=_seconds(standard.mix_minutes, standard.mix_seconds_per_bar, bars),
        cut=0 if is_blend else _seconds(standard.cut_minutes, standard.cut_seconds_per_bar, bars),
        wrap=0
        if is_blend
        else _seconds(standard.wrap_minutes, standard.wrap_seconds_per_bar, bars),
        rack_days=rack_days * standard.racks_for(bars),
        energy_wh=standard.energy_wh,
    )


def _seconds(minutes: int, seconds_per_bar: int, bars: int) -> int:
    return minutes * SECONDS_PER_MINUTE + seconds_per_bar * bars


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """Minutes of labor that somebody told of a batch, by task; None of one that nobody told."""

    mix: int | None = None
    cut: int | None = None
    wrap: int | None = None

    @property
    def minutes(self) -> int | None:
        """What was told in all; None where nothing was."""
        found = [each for each in (self.mix, self.cut, self.wrap) if each is not None]
        return sum(found) if found else None

    def untold(self, *, is_blend: bool) -> tuple[Task, ...]:
        """The tasks that nobody told; a blend is only mixed."""
        tasks = {Task.MIX: self.mix, Task.CUT: self.cut, Task.WRAP: self.wrap}
        wanted = (Task.MIX,) if is_blend else tuple(tasks)
        return tuple(task for task in wanted if tasks[task] is None)


def expected_work(told: Told, planned: Work, *, is_blend: bool = False) -> Work:
    """What a batch takes or took: what was told, and the plan for the tasks that nobody told.

    Where the plan tells no tasks apart, its time is what all of them are expected to take; where
    it says no time, that of the rest is not known. Racks and energy are those of the plan.
    """
    known = (told.minutes or 0) * SECONDS_PER_MINUTE
    rest = planned.other
    if not told.untold(is_blend=is_blend):
        rest = 0
    elif rest is not None:
        rest = max(rest - known, 0)

    def of(minutes: int | None, seconds: int) -> int:
        return seconds if minutes is None else minutes * SECONDS_PER_MINUTE

    return replace(
        planned,
        mix=of(told.mix, planned.mix),
        cut=of(told.cut, planned.cut),
        wrap=of(told.wrap, planned.wrap),
        other=rest,
    )
