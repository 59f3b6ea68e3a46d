"""The choice of a method by what it would have forecast before."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.domain.buying.backtest import FEWEST_TESTS, WARM_UP, forecast_all
from inventory.domain.buying.forecasting import candidates

series = st.lists(st.integers(0, 50), min_size=12, max_size=24)


def forecast(history, *, started=0, season=52):
    return forecast_all(np.array([history], dtype=float), np.array([started]), season=season)[0]


def errors_by_hand(history, candidate, *, season):
    """A back-test period by period, each from a history that ends before it."""
    used = next((t for t, each in enumerate(history) if each > 0), len(history))
    begins = max(WARM_UP, used + 1)
    if len(history) >= 2 * season:
        begins = max(begins, season)
    return [
        history[t] - candidate.fit(np.array([history[:t]], dtype=float), np.array([0]))[0, -1]
        for t in range(begins, len(history))
    ]


@given(history=series | st.just([0] * 12), started=st.integers(0, 11))
def test_use_is_known_once_anything_was_used(history, started):
    found = forecast(history, started=started)
    told = (found.known_rate, found.known_mean, found.known_sd)
    used = any(history[started:])
    assert found.is_known is used
    assert told == ((found.rate, found.mean, found.sd) if used else (None, None, None))


@settings(max_examples=40)
@given(history=series, season=st.sampled_from([4, 7, 52]))
def test_the_method_with_the_least_squared_error_is_taken(history, season):
    found = forecast(history, season=season)
    by_hand = {
        (each.method, each.constants): errors_by_hand(history, each, season=season)
        for each in candidates(season)
        if not each.season or len(history) >= 2 * season
    }
    errors = by_hand[found.method, found.constants]
    assert found.errors.tested == len(errors)
    if not errors:
        assert found.method == "mean" and found.errors.rmse is None
        return
    assert found.errors.mae == pytest.approx(np.mean(np.abs(errors)), abs=1e-9)
    assert found.errors.bias == pytest.approx(np.mean(errors), abs=1e-9)
    root = {name: np.sqrt(np.mean(np.square(each))) for name, each in by_hand.items()}
    assert found.errors.rmse == pytest.approx(root[found.method, found.constants], abs=1e-9)
    if len(errors) >= FEWEST_TESTS:
        assert found.errors.rmse <= min(root.values()) + 1e-9
    else:
        assert found.method == "mean"


def test_a_season_is_found_after_two_whole_ones():
    year = [9, 0, 0, 1, 0, 0, 7]
    found = forecast(year * 3, season=7)
    assert (found.method, found.coming) == ("seasonal naive", tuple(map(float, year)))
    assert found.errors.mae == found.errors.bias == found.errors.mase == 0
    assert found.over(9) == [*map(float, year), 9, 0] and found.rate == pytest.approx(17 / 7)
    assert forecast(year, season=7).method != "seasonal naive"


def test_what_is_used_now_and_then_is_forecast_by_size_and_interval():
    found = forecast([0, 0, 0, 0, 8] * 7)
    assert found.method == "Croston"
    assert found.rate == pytest.approx(8 / 5)


def test_what_faded_out_is_forecast_by_what_fades():
    found = forecast([8, 0, 6, 0, 9, 0, 7, *[0] * 30])
    assert found.method not in {"mean", "Croston"}
    assert 0 <= found.rate < 0.5


def test_a_lasting_change_is_followed():
    found = forecast([10] * 10 + [30] * 15)
    assert (found.method, found.constants) == ("exponential smoothing", "alpha 0.3")
    assert found.errors.bias > 0


def test_the_scaled_error_is_one_for_errors_as_large_as_the_changes():
    # e = 1 in each tested period (a line that rises by 1 is 1 above yesterday's value).
    history = [1.0, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2]
    found = forecast(history)
    changes = np.abs(np.diff(history)).mean()
    assert found.errors.mase == pytest.approx(found.errors.mae / changes)
    assert forecast([5] * 12).errors.mase is None


@pytest.mark.parametrize("history", [[], [4], [4, 6], [0, 0, 0]])
def test_a_short_history_gives_the_mean_and_says_so(history):
    found = forecast(history)
    assert found.method == "mean" and found.errors.tested == 0
    assert found.periods == len(history)
    assert found.rate == (sum(history) / len(history) if history else 0)
    assert (found.sd is None) == (len(history) < 2)
    assert found.spread == (found.sd or 0)


def test_only_the_time_since_the_start_counts():
    found = forecast([0] * 20 + [4, 4], started=20)
    assert (found.periods, found.mean, found.sd, found.rate) == (2, 4, 0, 4)


def test_materials_side_by_side_are_forecast_as_alone():
    random = np.random.default_rng(4)
    rows = random.poisson(0.7, (40, 60)) * random.integers(1, 9, (40, 60))
    started = random.integers(0, 60, 40)
    together = forecast_all(rows.astype(float), started, season=13)
    for row, start, found in zip(rows, started, together, strict=True):
        assert found == forecast(row, started=start, season=13)
    assert len({each.method for each in together}) > 2
