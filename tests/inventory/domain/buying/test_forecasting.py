"""Forecasts: the published series, laws of each method, and what can be known beforehand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.buying.forecasting import (
    average,
    candidates,
    croston,
    exponential_smoothing,
    first_use,
    seasonal_naive,
    tsb,
)
from studio.foundation.errors import InvalidInput

INTERMITTENT = [0, 0, 3, 0, 4, 0, 0, 0, 2, 0]
constants = st.floats(0.01, 1)
histories = st.lists(
    st.lists(st.integers(0, 10**15), min_size=12, max_size=12), min_size=1, max_size=5
)


def one(method, series, **constants):
    """The forecasts of a single series from its first period on."""
    return method(np.array([series], dtype=float), np.array([0]), **constants)[0]


def test_smoothing_of_the_exercise():
    # Source: time series forecasting exercise, simple exponential smoothing: table and forecast
    # for period 11; bias = mean(actual - forecast). Its values are rounded to one decimal.
    series = [99, 88, 50, 58, 62, 60, 55, 62, 71, 65]
    found = one(exponential_smoothing, series, alpha=0.3)
    table = [99.0, 95.7, 82.0, 74.8, 71.0, 67.7, 63.9, 63.3, 65.6]
    assert found[1:-1] == pytest.approx(table, abs=0.05)
    assert found[-1] == pytest.approx(65.42, abs=0.05)
    errors = np.array(series[1:]) - found[1:-1]
    assert np.mean(errors**2) == pytest.approx(365.8, abs=0.05)
    assert np.mean(np.abs(errors)) == pytest.approx(14.14, abs=0.005)
    assert np.mean(errors) == pytest.approx(-12.43, abs=0.005)


def test_smoothing_of_the_longer_series():
    # Source: intermittent-forecast (public library), test suite: simple smoothing, S1 = y1.
    series = [40, 28, 35, 41, 33, 21, 37, 20, 28, 31, 31, 22]
    expected = [40.0, 40.0, 36.4, 35.98, 37.486, 36.1402, 31.59814, 33.218698]
    expected += [29.2530886, 28.877162, 29.5140134, 29.9598093]
    assert one(exponential_smoothing, series, alpha=0.3)[:-1] == pytest.approx(expected, abs=1e-5)


def test_croston_of_the_public_series():
    # Source: intermittent-forecast (public library), test suite: Croston. It begins with the
    # first size and the first interval, 3.
    expected = [1, 1, 1.25, 1.25, 1.25, 1.25, 0.904605, 0.904605]
    found = one(croston, INTERMITTENT, alpha=0.5, beta=0.2)
    assert found[3:] == pytest.approx(expected, abs=1e-5)
    assert list(found[:3]) == [0, 0, 0]


def test_teunter_syntetos_and_babai_of_the_public_series():
    # Source: intermittent-forecast (public library), test suite: TSB. It begins with the first
    # size, 3, and the probability 1/3.
    expected = [0.9, 0.81, 1.029, 0.9261, 1.246839, 1.1221551, 1.0099396, 0.9089456]
    expected += [1.0123723, 0.9111351]
    found = one(tsb, INTERMITTENT, alpha=0.3, beta=0.1)
    assert found[1:] == pytest.approx(expected, abs=1e-5)


@given(series=histories, alpha=constants)
def test_a_smoothed_level_stays_among_what_was_used(series, alpha):
    history = np.array(series, dtype=float)
    found = exponential_smoothing(history, np.zeros(len(series), dtype=int), alpha=alpha)
    least, most = history.min(axis=1)[:, None], history.max(axis=1)[:, None]
    assert (found >= least * (1 - 1e-9)).all() and (found <= most * (1 + 1e-9)).all()


@given(series=histories, alpha=constants, beta=constants, start=st.integers(0, 11))
def test_intermittent_forecasts_are_between_nothing_and_the_largest_use(series, alpha, beta, start):
    history = np.array(series, dtype=float)
    most = np.maximum(history[:, start:].max(axis=1), 0)[:, None]
    for method in (croston, tsb):
        started = np.full(len(series), start)
        found = method(history, started, alpha=alpha, beta=beta)
        assert (found >= 0).all() and (found <= most * (1 + 1e-9)).all()


@given(series=histories, start=st.integers(0, 10), change=st.integers(0, 10**15), data=st.data())
def test_a_forecast_knows_nothing_of_its_own_period_or_later(series, start, change, data):
    period = data.draw(st.integers(start + 1, 11))
    before = np.array(series, dtype=float)
    before[:, start] = 7  # used from the start on, so that both begin alike
    after = before.copy()
    after[:, period:] = change
    started = np.full(len(series), start)
    for candidate in candidates(season=4):
        told = [candidate.fit(each, started)[:, start + 1 : period + 1] for each in (before, after)]
        assert np.array_equal(*told, equal_nan=True)


@given(series=histories, start=st.integers(1, 11), noise=st.integers(1, 10**15))
def test_what_stands_before_the_start_is_not_read(series, start, noise):
    history = np.array(series, dtype=float)
    started = np.full(len(series), start)
    noisy = history.copy()
    noisy[:, :start] = noise
    for candidate in candidates(season=4):
        told = [candidate.fit(each, started)[:, start + 1 :] for each in (history, noisy)]
        assert np.array_equal(*told, equal_nan=True)


def test_materials_are_forecast_side_by_side_as_alone():
    rows = [INTERMITTENT, [0] * 10, [5] * 10, INTERMITTENT]
    started = [0, 0, 2, 4]
    for candidate in candidates(season=3):
        together = candidate.fit(np.array(rows, dtype=float), np.array(started))
        for index, (row, start) in enumerate(zip(rows, started, strict=True)):
            alone = candidate.fit(np.array([row], dtype=float), np.array([start]))
            assert np.array_equal(together[index], alone[0], equal_nan=True)


def test_what_is_used_alike_in_every_period_is_forecast_so():
    for candidate in candidates(season=4):
        found = candidate.fit(np.full((1, 10), 6.0), np.array([0]))[0]
        assert found[4:] == pytest.approx([6] * 7)


def test_the_mean_and_the_season():
    assert list(one(average, [4, 0, 2])) == [0, 4, 2, 2]
    found = one(seasonal_naive, [1, 2, 3, 4, 5], season=2)
    assert list(found[2:]) == [1, 2, 3, 4] and np.isnan(found[:2]).all()
    assert np.isnan(one(seasonal_naive, [1, 2], season=3)).all()


def test_the_first_use():
    history = np.array([[0, 3, 0], [0, 0, 0], [2, 0, 5]], dtype=float)
    assert list(first_use(history, np.array([0, 0, 1]))) == [1, 3, 2]
    assert list(first_use(np.zeros((2, 0)), np.array([0, 0]))) == [0, 0]


@pytest.mark.parametrize("constant", [0, -0.1, 1.1, float("nan")])
def test_constants_out_of_range_are_refused(constant):
    for call in (
        lambda: one(exponential_smoothing, [1, 2], alpha=constant),
        lambda: one(croston, [1, 2], alpha=0.1, beta=constant),
        lambda: one(tsb, [1, 2], alpha=constant, beta=0.1),
    ):
        with pytest.raises(InvalidInput):
            call()
    with pytest.raises(InvalidInput):
        one(seasonal_naive, [1, 2], season=0)
