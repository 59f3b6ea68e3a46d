"""Rates of the studio by the day they take effect: labor, overhead, energy; fees of selling.

Money is ten-thousandths of the studio currency.
"""

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

from costing.errors import RateMissing
from studio.foundation.errors import Faults

NO_SHARE = Decimal(0)


class Task(StrEnum):
    """What labor is spent on; time that nobody told apart has no task."""

    MIX = "mix"
    CUT = "cut"
    WRAP = "wrap"


class RateKind(StrEnum):
    """What a rate is paid for. Labor of a task is paid as any labor until it has its own rate."""

    LABOR_HOUR = "labor_hour"
    OVERHEAD_BATCH = "overhead_batch"
    OVERHEAD_LABOR_HOUR = "overhead_labor_hour"
    LABOR_MIX_HOUR = "labor_mix_hour"
    LABOR_CUT_HOUR = "labor_cut_hour"
    LABOR_WRAP_HOUR = "labor_wrap_hour"
    OVERHEAD_RACK_WEEK = "overhead_rack_week"
    ENERGY_KWH = "energy_kwh"


#: The kinds that every studio has; the others are for those who tell them apart.
ALWAYS = (RateKind.LABOR_HOUR, RateKind.OVERHEAD_BATCH, RateKind.OVERHEAD_LABOR_HOUR)
BY_TASK: Mapping[Task, RateKind] = MappingProxyType(
    {
        Task.MIX: RateKind.LABOR_MIX_HOUR,
        Task.CUT: RateKind.LABOR_CUT_HOUR,
        Task.WRAP: RateKind.LABOR_WRAP_HOUR,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """A rate from a day on, until the next one of its kind."""

    kind: RateKind
    effective_from: date
    amount: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """The rates in force on one day; None where none is: not known, which is never zero.

    Zero is a rate that somebody gave. Labor of a task has a rate of its own or is paid as any
    labor. A rack that has no rate is not told apart from other overhead.
    """

    labor_per_hour: int | None = None
    overhead_per_batch: int | None = None
    overhead_per_labor_hour: int | None = None
    mix_per_hour: int | None = None
    cut_per_hour: int | None = None
    wrap_per_hour: int | None = None
    rack_per_week: int | None = None
    energy_per_kwh: int | None = None

    def labor_for(self, task: Task) -> int | None:
        """What an hour of a task is paid: its own rate, else that of any labor; None of neither."""
        own = {
            Task.MIX: self.mix_per_hour,
            Task.CUT: self.cut_per_hour,
            Task.WRAP: self.wrap_per_hour,
        }[task]
        return self.labor_per_hour if own is None else own


def rate_on(rates: Iterable[Rate], *, kind: RateKind, on: date) -> int:
    """The rate of that kind in force on that day; raises RateMissing when there is none yet."""
    in_force = [rate for rate in rates if rate.kind == kind and rate.effective_from <= on]
    if not in_force:
        raise RateMissing(
            f"No rate of the kind {kind} is in force on {on}; enter one that starts by then.",
            field=kind,
            details={"kind": str(kind), "on": on.isoformat()},
        )
    return max(in_force, key=lambda rate: rate.effective_from).amount


@dataclass(frozen=True, slots=True, kw_only=True)
class RatesInForce:
    """The rates of a day, and the kinds every studio has that no rate holds for yet."""

    rates: Rates
    missing: tuple[RateKind, ...] = ()


def rates_in_force(rates: Iterable[Rate], *, on: date) -> RatesInForce:
    """As `rates_on`, but a kind without a rate is not known, and named instead of refused.

    The labor hour is not missed where every task has a rate of its own.
    """
    known = list(rates)
    found: dict[RateKind, int] = {}
    for kind in RateKind:
        with suppress(RateMissing):
            found[kind] = rate_on(known, kind=kind, on=on)
    return RatesInForce(
        rates=_rates(found),
        missing=tuple(
            kind for kind in ALWAYS if kind not in found and not _told_apart(kind, found)
        ),
    )


def rates_on(rates: Iterable[Rate], *, on: date) -> Rates:
    """All rates in force on that day; raises RateMissing naming every kind that is missing.

    Rates by task, rack-week and energy may be missing: not every studio has them. So may the labor
    hour, where every task has a rate of its own.
    """
    known = list(rates)
    in_force = rates_in_force(known, on=on)
    faults = Faults()
    for kind in in_force.missing:
        try:
            rate_on(known, kind=kind, on=on)
        except RateMissing as refusal:
            faults.take(refusal)
    faults.raise_if_any(RateMissing)
    return in_force.rates


def _rates(found: Mapping[RateKind, int]) -> Rates:
    return Rates(
        labor_per_hour=found.get(RateKind.LABOR_HOUR),
        overhead_per_batch=found.get(RateKind.OVERHEAD_BATCH),
        overhead_per_labor_hour=found.get(RateKind.OVERHEAD_LABOR_HOUR),
        mix_per_hour=found.get(RateKind.LABOR_MIX_HOUR),
        cut_per_hour=found.get(RateKind.LABOR_CUT_HOUR),
        wrap_per_hour=found.get(RateKind.LABOR_WRAP_HOUR),
        rack_per_week=found.get(RateKind.OVERHEAD_RACK_WEEK),
        energy_per_kwh=found.get(RateKind.ENERGY_KWH),
    )


def _told_apart(kind: RateKind, found: Mapping[RateKind, int]) -> bool:
    return kind is RateKind.LABOR_HOUR and all(own in found for own in BY_TASK.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Fees:
    """All fees of a sale: a share of what is paid (of 1), and so much for each sale.

    They are selling costs: they never enter the cost of stock (IAS 2 paragraph 16(d)), but a price
    must bear them.
    """

    share: Decimal = NO_SHARE
    fixed_per_sale: int = 0

    def of(self, paid: int) -> int:
        """The fees of one sale at which so much is paid, rounded half to even."""
        return round(Fraction(self.share) * paid) + self.fixed_per_sale
