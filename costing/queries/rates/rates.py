"""Rates as the rules see them."""

from datetime import date

from costing.domain.rates.rates import Rate as RateView
from costing.domain.rates.rates import RateKind, RatesInForce, rates_in_force
from costing.models.rates.rates import Rate


def rates_of_day(on: date) -> RatesInForce:
    """The rates in force on a day; kinds without one count as zero and are named. One query."""
    return rates_in_force(rates_until(on), on=on)


def rates_until(on: date) -> list[RateView]:
    """Every rate that ever started by a day, the oldest first. One query."""
    started = Rate.objects.filter(effective_from__lte=on).order_by("effective_from")
    return [
        RateView(kind=RateKind(rate.kind), effective_from=rate.effective_from, amount=rate.amount)
        for rate in started
    ]


def missing_rates_note(found: RatesInForce, *, on: date) -> str:
    """In words, which rates had to count as zero on that day; empty when none had to."""
    if not found.missing:
        return ""
    names = ", ".join(kind.value.replace("_", " ") for kind in found.missing)
    return f"No rate was in force on {on} for: {names}. It counts as zero."
