"""Rates by the day they take effect."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.rates.rates import (
    ALWAYS,
    BY_TASK,
    Rate,
    RateKind,
    rate_on,
    rates_in_force,
    rates_on,
)
from costing.errors import RateMissing

UNIT = 10_000
days = st.dates(date(2020, 1, 1), date(2030, 1, 1))
rate_lists = st.lists(
    st.builds(
        Rate,
        kind=st.sampled_from(RateKind),
        effective_from=days,
        amount=st.integers(0, 10**7),
    ),
    max_size=12,
    unique_by=lambda rate: (rate.kind, rate.effective_from),
)


@given(rates=rate_lists, kind=st.sampled_from(RateKind), on=days)
def test_the_newest_rate_that_has_started_holds(rates, kind, on):
    started = {
        r.effective_from: r.amount for r in rates if r.kind == kind and r.effective_from <= on
    }
    if started:
        assert rate_on(rates, kind=kind, on=on) == started[max(started)]
    else:
        with pytest.raises(RateMissing):
            rate_on(rates, kind=kind, on=on)


@given(rates=rate_lists, on=days)
def test_every_missing_kind_is_named(rates, on):
    started = {rate.kind for rate in rates if rate.effective_from <= on}
    missing = [kind for kind in ALWAYS if kind not in started]
    if set(BY_TASK.values()) <= started:
        missing = [kind for kind in missing if kind is not RateKind.LABOR_HOUR]
    if not missing:
        if RateKind.LABOR_HOUR in started:
            hourly = rate_on(rates, kind=RateKind.LABOR_HOUR, on=on)
            assert rates_on(rates, on=on).labor_per_hour == hourly
        return
    with pytest.raises(RateMissing) as refused:
        rates_on(rates, on=on)
    assert [fault.field for fault in refused.value.faults] == missing


def test_a_rate_holds_from_its_first_day():
    start = date(2024, 3, 1)
    rate = Rate(kind=RateKind.LABOR_HOUR, effective_from=start, amount=18 * UNIT)
    assert rate_on([rate], kind=RateKind.LABOR_HOUR, on=start) == 18 * UNIT
    with pytest.raises(RateMissing):
        rate_on([rate], kind=RateKind.LABOR_HOUR, on=start - timedelta(days=1))


@given(rates=rate_lists, on=days)
def test_missing_rates_are_not_known_and_are_named(rates, on):
    found = rates_in_force(rates, on=on)
    if not found.missing:
        assert found.rates == rates_on(rates, on=on)
    else:
        with pytest.raises(RateMissing) as refused:
            rates_on(rates, on=on)
        assert [fault.field for fault in refused.value.faults] == list(found.missing)
    amounts = {
        RateKind.LABOR_HOUR: found.rates.labor_per_hour,
        RateKind.OVERHEAD_BATCH: found.rates.overhead_per_batch,
        RateKind.OVERHEAD_LABOR_HOUR: found.rates.overhead_per_labor_hour,
    }
    started = {rate.kind for rate in rates if rate.effective_from <= on}
    for kind, amount in amounts.items():
        assert amount == (rate_on(rates, kind=kind, on=on) if kind in started else None)
