"""Rates of the studio by the day they take effect: labor and overhead.

Money is ten-thousandths of the studio currency.
"""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from fractions import Fraction

from costing.errors import RateMissing
from studio.errors import Faults, InvalidInput

MINUTES_PER_HOUR = 60


class RateKind(StrEnum):
    """What a rate is paid for."""

    LABOR_HOUR = "labor_hour"
    OVERHEAD_BATCH = "overhead_batch"
    OVERHEAD_LABOR_HOUR = "overhead_labor_hour"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """A rate from a day on, until the next one of its kind."""

    kind: RateKind
    effective_from: date
    amount: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """The rates in force on one day."""

    labor_per_hour: int = 0
    overhead_per_batch: int = 0
    overhead_per_labor_hour: int = 0


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
    """The rates of a day, zero for the kinds that have none yet; those are named."""

    rates: Rates
    missing: tuple[RateKind, ...] = ()


def rates_in_force(rates: Iterable[Rate], *, on: date) -> RatesInForce:
    """As `rates_on`, but a kind without a rate counts as zero and is named instead of refused."""
    known = list(rates)
    found: dict[RateKind, int] = {}
    for kind in RateKind:
        with suppress(RateMissing):
            found[kind] = rate_on(known, kind=kind, on=on)
    return RatesInForce(
        rates=Rates(
            labor_per_hour=found.get(RateKind.LABOR_HOUR, 0),
            overhead_per_batch=found.get(RateKind.OVERHEAD_BATCH, 0),
            overhead_per_labor_hour=found.get(RateKind.OVERHEAD_LABOR_HOUR, 0),
        ),
        missing=tuple(kind for kind in RateKind if kind not in found),
    )


def rates_on(rates: Iterable[Rate], *, on: date) -> Rates:
    """All rates in force on that day; raises RateMissing naming every kind that is missing."""
    known = list(rates)
    faults = Faults()
    found: dict[RateKind, int] = {}
    for kind in RateKind:
        try:
            found[kind] = rate_on(known, kind=kind, on=on)
        except RateMissing as refusal:
            faults.take(refusal)
    faults.raise_if_any(RateMissing)
    return Rates(
        labor_per_hour=found[RateKind.LABOR_HOUR],
        overhead_per_batch=found[RateKind.OVERHEAD_BATCH],
        overhead_per_labor_hour=found[RateKind.OVERHEAD_LABOR_HOUR],
    )


def predetermined_overhead_rate(*, overhead: int, labor_minutes: int) -> int:
    """Overhead per labor hour from a period's expected overhead and labor, rounded half to even.

    Predetermined overhead rate = estimated overhead / estimated activity. Raises InvalidInput for
    overhead below zero or no labor.
    """
    faults = Faults()
    if overhead < 0:
        faults.add("below-zero", "Overhead cannot be below zero.", "overhead")
    if labor_minutes <= 0:
        faults.add("not-positive", "The expected labor must be above zero.", "labor_minutes")
    faults.raise_if_any(InvalidInput)
    return round(Fraction(overhead * MINUTES_PER_HOUR, labor_minutes))


def for_minutes(rate_per_hour: int, minutes: int) -> int:
    """Money for minutes at a rate per hour, rounded once, half to even."""
    return round(Fraction(rate_per_hour * minutes, MINUTES_PER_HOUR))
