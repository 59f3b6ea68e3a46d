"""Cost of conversion: labor by task, and overhead by what drives it (IAS 2 paragraphs 12 to 14).

Labor is mixing, cutting and wrapping, and what was not told apart. Overhead comes by the batch, by
the labor hour, by the rack and week of curing, and as energy. Quantities are whole: seconds of
labor, batches, days on one rack, watt-hours; money is ten-thousandths.

What is taken without a rate for it is not known, and never zero. Overhead by the batch belongs to
soap: a blend is mixed for a batch of soap, which bears it, and takes of overhead what its own hours
and energy take (IAS 2 paragraph 12: allocated systematically).
"""

from collections.abc import Mapping, Sequence
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

    `batches` is how often it bears the overhead by the batch: once, a blend not at all.
    """

    mix: int = 0
    cut: int = 0
    wrap: int = 0
    other: int = 0
    rack_days: int = 0
    energy_wh: int = 0
    batches: int = 1

    @property
    def seconds(self) -> int:
        """All labor together."""
        return self.mix + self.cut + self.wrap + self.other


@dataclass(frozen=True, slots=True, kw_only=True)
class ConversionLine:
    """One effort: how much of it, at which rate (by the hour, batch, week or kWh), and its cost.

    Both are None where no rate was in force: what it cost is not known. A rack without a rate
    is not told apart, and costs nothing of its own.
    """

    effort: Effort
    quantity: int
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
        return tuple(dict.fromkeys(MISSED[effort] for effort in self.unknown))

    def of(self, effort: Effort) -> int:
        """What is known of the cost of one effort."""
        return sum(line.cost or 0 for line in self.lines if line.effort is effort)

    def quantity_of(self, effort: Effort) -> int:
        """How much of one effort it took: seconds, batches, rack-days or Wh."""
        return sum(line.quantity for line in self.lines if line.effort is effort)


def conversion_cost(*, labor_minutes: int, rates: Rates) -> ConversionCost:
    """Labor = minutes x rate / 60, not told apart by task; overhead by the batch and labor hour.

    Labor and overhead by the hour are each rounded once.
    """
    return conversion_of(Work(other=labor_minutes * SECONDS_PER_MINUTE), rates)


def conversion_of(work: Work, rates: Rates) -> ConversionCost:
    """What the work of one batch costs at the rates.

    Labor is rounded once and split over its tasks by the largest remainder, so that a task told
    apart changes no total; each overhead is rounded once.
    """
    labor = _labor(work, rates)
    overhead = [
        _line(Effort.BATCH, work.batches, rates.overhead_per_batch),
        _line(Effort.LABOR_HOUR, work.seconds, rates.overhead_per_labor_hour),
        _line(Effort.RACK, work.rack_days, rates.rack_per_week),
        _line(Effort.ENERGY, work.energy_wh, rates.energy_per_kwh),
    ]
    return conversion_from([line for line in (*labor, *overhead) if line.quantity])


def conversion_from(lines: Sequence[ConversionLine]) -> ConversionCost:
    """The same from lines that are kept."""
    labor = [line for line in lines if line.is_labor]
    return ConversionCost(
        minutes=round(Fraction(sum(line.quantity for line in labor), SECONDS_PER_MINUTE)),
        labor=sum(line.cost or 0 for line in labor),
        overhead=sum(line.cost or 0 for line in lines if not line.is_labor),
        lines=tuple(lines),
        unknown=tuple(line.effort for line in lines if line.cost is None),
    )


def filled(lines: Sequence[ConversionLine], rates: Rates) -> list[ConversionLine]:
    """The lines with what was not known costed at rates that came late; the others as they are.

    What still has no rate stays not known. Labor that came late is rounded once.
    """
    labor = {line.effort: line.quantity for line in lines if line.is_labor and line.cost is None}
    seconds = {name: labor.get(effort, 0) for name, effort in _SECONDS.items()}
    late = {line.effort: line for line in _labor(Work(**seconds), rates)}
    overhead = {
        Effort.BATCH: rates.overhead_per_batch,
        Effort.LABOR_HOUR: rates.overhead_per_labor_hour,
        Effort.RACK: rates.rack_per_week,
        Effort.ENERGY: rates.energy_per_kwh,
    }
    found: list[ConversionLine] = []
    for line in lines:
        if line.cost is not None:
            found.append(line)
        elif line.is_labor:
            found.append(late[line.effort])
        else:
            found.append(_line(line.effort, line.quantity, overhead[line.effort]))
    return found


_SECONDS: Mapping[str, Effort] = MappingProxyType(
    {"mix": Effort.MIX, "cut": Effort.CUT, "wrap": Effort.WRAP, "other": Effort.LABOR}
)


def _labor(work: Work, rates: Rates) -> list[ConversionLine]:
    spent = {
        Effort.MIX: (work.mix, rates.labor_for(Task.MIX)),
        Effort.CUT: (work.cut, rates.labor_for(Task.CUT)),
        Effort.WRAP: (work.wrap, rates.labor_for(Task.WRAP)),
        Effort.LABOR: (work.other, rates.labor_per_hour),
    }
    weights = [seconds * (rate or 0) for seconds, rate in spent.values()]
    total = round(Fraction(sum(weights), SECONDS_PER_HOUR))
    costs = split(total, weights) if sum(weights) else [0] * len(weights)
    return [
        ConversionLine(
            effort=effort, quantity=seconds, rate=rate, cost=None if rate is None else cost
        )
        for (effort, (seconds, rate)), cost in zip(spent.items(), costs, strict=True)
    ]


def _line(effort: Effort, quantity: int, rate: int | None) -> ConversionLine:
    cost = None if rate is None else round(Fraction(quantity * rate, RATED_BY[effort]))
    if cost is None and effort is Effort.RACK:
        cost = 0
    return ConversionLine(effort=effort, quantity=quantity, rate=rate, cost=cost)


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
    standard: Standard | None, *, bars: int, is_blend: bool, minutes: int, rack_days: int
) -> Work:
    """What a batch of so many bars takes by its standard.

    A blend is only mixed, and bears no overhead by the batch. `minutes` are those of the recipe,
    which hold where there is no standard; bars stand on the rack for `rack_days`.
    """
    batches = 0 if is_blend else 1
    if standard is None:
        return Work(
            other=minutes * SECONDS_PER_MINUTE,
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


def expected_work(done: Work, planned: Work) -> Work:
    """What a batch that is under way will have taken: what is done, and the plan for the rest.

    A task that has been done is not planned any more. Where the plan tells no tasks apart, its
    time is what all of them are expected to take.
    """
    if planned.mix or planned.cut or planned.wrap:
        labor = Work(
            mix=done.mix or planned.mix,
            cut=done.cut or planned.cut,
            wrap=done.wrap or planned.wrap,
            other=done.other,
            batches=done.batches,
        )
    else:
        labor = replace(done, other=done.other + max(planned.other - done.seconds, 0))
    return replace(labor, rack_days=planned.rack_days, energy_wh=planned.energy_wh)
