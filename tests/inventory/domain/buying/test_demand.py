"""Forecast and known demand: the larger of the two in each period, never their sum."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.buying.demand import (
    MOST_COUNTED,
    Period,
    beyond_known,
    counted,
    whole_periods,
)
from studio.foundation.errors import InvalidInput

amounts = st.integers(0, 10**15)


@st.composite
def futures(draw, weeks=4, materials=2):
    days = weeks * 7
    known = [draw(st.lists(amounts, min_size=days, max_size=days)) for _ in range(materials)]
    rates = st.floats(0, 1e15, allow_nan=False)
    forecast = [draw(st.lists(rates, min_size=weeks, max_size=weeks)) for _ in range(materials)]
    return np.array(known, dtype=np.int64), np.array(forecast)


@given(future=futures())
def test_each_week_expects_the_larger_of_plan_and_forecast(future):
    known, forecast = future
    added = beyond_known(known, forecast, period=Period.WEEK)
    assert (added >= 0).all() and added.dtype == np.int64
    by_week = (known + added).reshape(2, 4, 7).sum(axis=2)
    planned = known.reshape(2, 4, 7).sum(axis=2)
    running = np.rint(np.cumsum(forecast, axis=1)).astype(np.int64)
    expected = np.diff(running, axis=1, prepend=0)
    assert (by_week == np.maximum(planned, expected)).all()


@given(future=futures())
def test_what_is_added_is_spread_evenly_over_the_days(future):
    added = beyond_known(*future, period=Period.WEEK).reshape(2, 4, 7)
    assert (added.max(axis=2) - added.min(axis=2) <= 1).all()


@given(rate=st.floats(0.01, 3), weeks=st.integers(1, 60))
def test_fractions_of_a_piece_are_not_lost(rate, weeks):
    known = np.zeros((1, weeks * 7), dtype=np.int64)
    added = beyond_known(known, np.full((1, weeks), rate), period=Period.WEEK)
    assert abs(added.sum() - rate * weeks) <= 0.5 + 1e-6


def test_a_planned_batch_uses_up_the_forecast_of_its_week_only():
    known = np.zeros((1, 21), dtype=np.int64)
    known[0, 9] = 50
    added = beyond_known(known, np.array([[14.0, 14, 14]]), period=Period.WEEK)
    assert added[0].tolist() == [2] * 7 + [0] * 7 + [2] * 7


def test_days_are_periods_of_one_day():
    known = np.array([[3, 0, 8]], dtype=np.int64)
    added = beyond_known(known, np.array([[5.0, 5, 5]]), period=Period.DAY)
    assert added.tolist() == [[2, 5, 0]]


def test_periods_reach_over_the_horizon():
    assert [whole_periods(days, Period.WEEK) for days in (1, 7, 8, 180)] == [1, 1, 2, 26]
    assert whole_periods(9, Period.DAY) == 9
    assert (Period.WEEK.season, Period.DAY.season) == (52, 7)


def test_more_than_can_be_counted_exactly_is_refused():
    assert counted([MOST_COUNTED, 0])[0] == MOST_COUNTED
    for call in (
        lambda: counted([1, MOST_COUNTED + 1]),
        lambda: counted([2**70]),
        lambda: beyond_known(
            np.zeros((1, 7), dtype=np.int64), np.array([[2.0**61]]), period=Period.WEEK
        ),
    ):
        with pytest.raises(InvalidInput):
            call()
