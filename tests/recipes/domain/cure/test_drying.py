"""The drying curve of sample bars: what is put in comes out, and odd weights are told, not raised.

Expected dates are found here by trying day after day with the plain formula.
"""

import math
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.domain.cure.drying import (
    MOST_POINTS,
    BarWeighing,
    DryingCurve,
    NoCurve,
    day_means,
    fit_drying,
    left_without_curve,
)
from recipes.domain.cure.exponential import Approach

G = 10**9
START = date(2026, 3, 3)
LIMIT = Decimal("0.01")


def on(day):
    return START + timedelta(days=day)


def weighed(day, bar, grams):
    return BarWeighing(on=on(day), bar=bar, weight_ng=round(grams * G))


def drying(end=100.0, lost=15.0, rate=0.08, days=(0, 4, 9, 16, 25), off=(0, 0, 0, 0, 0)):
    return [
        weighed(day, 1, end + lost * math.exp(-rate * day) + noise)
        for day, noise in zip(days, off, strict=True)
    ]


def loss_of_week(end, lost, rate, day):
    now, then = (end + lost * math.exp(-rate * d) for d in (day, day + 7))
    return (now - then) / now


@given(st.floats(50, 500), st.floats(0.05, 0.3), st.floats(0.03, 0.2), st.floats(0.002, 0.03))
@settings(max_examples=60)
def test_the_stable_date_is_the_first_day_whose_week_loses_no_more(end, share, rate, limit):
    lost = end * share
    curve = fit_drying(drying(end, lost, rate))
    assert isinstance(curve, DryingCurve)
    found = curve.stable_date(limit=Decimal(limit), confidence=0.95)
    days = range(3651)
    day = next(d for d in days if loss_of_week(end, lost, rate, d) <= limit)
    assert abs((found.on - on(day)).days) <= 1  # weights are whole ng: a day off on the edge
    assert found.low <= found.on <= found.high


@given(st.floats(0.001, 0.02), st.floats(1.1, 3))
@settings(max_examples=30)
def test_a_stricter_limit_is_never_reached_earlier(limit, times):
    curve = fit_drying(drying())
    loose, strict = (
        curve.stable_date(limit=Decimal(x), confidence=0.95) for x in (limit * times, limit)
    )
    assert strict.on >= loose.on


weights = st.floats(0.001, 10_000)


@given(
    st.lists(st.tuples(st.integers(0, 700), st.integers(1, 5), weights), max_size=14),
)
def test_no_weights_make_it_raise(rows):
    found = fit_drying([weighed(day, bar, grams) for day, bar, grams in rows])
    if isinstance(found, NoCurve):
        assert found.code in {"too-few-days", "no-loss", "no-curve"} and found.message
        return
    stable = found.stable_date(limit=LIMIT, confidence=0.95)
    assert stable is None or stable.on >= found.since
    points = found.series(on(800), confidence=0.95)
    assert all(a.weight_ng >= b.weight_ng for a, b in pairwise(points))


def test_a_band_holds_what_scatters_around_the_curve():
    noisy = drying(off=(0.3, -0.4, 0.3, -0.2, 0.1))
    curve = fit_drying(noisy)
    stable = curve.stable_date(limit=LIMIT, confidence=0.95)
    assert stable.low < stable.on < stable.high
    wider = curve.stable_date(limit=LIMIT, confidence=0.99)
    assert wider.high > stable.high
    point = curve.point(on(16), confidence=0.95)
    assert point.low_ng < point.weight_ng < point.high_ng


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        ([], "too-few-days"),
        ([(0, 1, 100), (7, 1, 95)], "too-few-days"),
        ([(0, 1, 100), (0, 2, 99), (0, 3, 98)], "too-few-days"),
        ([(0, 1, 100), (7, 1, 101), (14, 1, 100)], "no-loss"),
        ([(0, 1, 100), (7, 1, 95), (14, 1, 90)], "no-curve"),
        # scatter as large as the fall: the F test takes it for chance
        ([(0, 1, 100), (5, 1, 97), (9, 1, 101), (14, 1, 96), (20, 1, 99.5)], "no-curve"),
    ],
)
def test_why_there_is_no_curve(rows, code):
    found = fit_drying([weighed(*row) for row in rows])
    assert isinstance(found, NoCurve) and found.code == code


def test_three_days_give_a_date_without_a_band():
    curve = fit_drying(drying(days=(0, 7, 14), off=(0, 0, 0)))
    stable = curve.stable_date(limit=LIMIT, confidence=0.95)
    assert (stable.low, stable.high) == (None, None)
    assert curve.point(on(3), confidence=0.95).low_ng is None


def test_a_curve_that_is_flat_enough_from_the_start_is_stable_at_once():
    assert fit_drying(drying(lost=0.5)).stable_date(limit=LIMIT, confidence=0.95).on == START


def test_means_are_of_the_bars_weighed_every_day():
    rows = [weighed(0, 1, 100), weighed(0, 2, 140), weighed(7, 1, 95), weighed(7, 3, 200)]
    assert [(mean.weight_ng // G, mean.bars) for mean in day_means(rows)] == [(100, 1), (95, 1)]
    loose = [weighed(0, 1, 100), weighed(7, 2, 90), weighed(7, 3, 96)]
    assert [(mean.weight_ng // G, mean.bars) for mean in day_means(loose)] == [(100, 1), (93, 2)]


@given(st.integers(1, 5000))
@settings(max_examples=30)
def test_a_series_ends_where_it_is_told_and_stays_short(days):
    points = fit_drying(drying()).series(on(days), confidence=0.95)
    assert len(points) <= MOST_POINTS
    assert (points[0].on, points[-1].on) == (START, on(days))
    assert len({point.on for point in points}) == len(points)


@given(st.floats(50, 500), st.floats(0.05, 0.3), st.floats(0.03, 0.2), st.integers(0, 60))
@settings(max_examples=40)
def test_what_is_left_is_the_ratio_of_the_curve(end, share, rate, more):
    lost = end * share
    curve = fit_drying(drying(end, lost, rate))
    then, now = (end + lost * math.exp(-rate * day) for day in (16 + more, 16))
    left = curve.left(on(16), on(16 + more), confidence=0.975)
    assert float(left) == pytest.approx(then / now, rel=1e-5)
    assert curve.left(on(16 + more), on(16), confidence=0.975) == 1  # bars gain no weight


def test_what_is_left_of_scattered_weights_is_bounded_below_with_the_confidence():
    curve = fit_drying(drying(off=(0.2, -0.3, 0.2, -0.1, 0.1)))
    plain = curve.approach.at(40) / curve.approach.at(25)
    bold, careful = (
        float(curve.left(on(25), on(40), confidence=confidence)) for confidence in (0.9, 0.975)
    )
    assert careful < bold < plain
    three = fit_drying(drying(days=(0, 7, 14), off=(0, 0, 0)))
    assert float(three.left(on(14), on(40), confidence=0.975)) == pytest.approx(
        three.approach.at(40) / three.approach.at(14)
    )


def test_before_the_first_weighing_the_curve_stays_at_its_start():
    curve = fit_drying(drying())
    assert curve.weight_ng(on(-400)) == curve.weight_ng(START)


@given(st.integers(0, 100), st.integers(0, 60), st.integers(0, 60))
def test_without_a_curve_the_recipe_loss_is_spread_over_the_cure_days(cure, first, more):
    share = Decimal("0.1")
    left = left_without_curve(
        loss_share=share, cure_days=cure, weighed_day=first, sale_day=first + more
    )
    assert Fraction(9, 10) <= left <= 1
    if first >= cure:
        assert left == 1
    if first == 0 and more >= cure > 0:
        assert left == Fraction(9, 10)


# The band against derivatives that are taken by trying: each parameter a little more and less.

#: Student's t for 10 degrees of freedom at 95 % on both sides, as any table prints it.
T_10 = 2.228
#: Standard deviations of end, start and rate, and how they go together.
SPREADS = {
    "the end": ((1.2, 0, 0), (0, 0, 0)),
    "the start": ((0, 5, 0), (0, 0, 0)),
    "the rate": ((0, 0, 4e-4), (0, 0, 0)),
    "all at once": ((0.7, 4, 3e-4), (0, 0, 0)),
    "all together": ((0.7, 4, 3e-4), (0.3, -0.5, 0.2)),
    "all against each other": ((0.7, 4, 3e-4), (-0.6, 0.4, -0.3)),
}
spreads = pytest.mark.parametrize("spread", SPREADS.values(), ids=SPREADS)
#: A bar of 115 g that dries to 100 g so slowly that its band is hundreds of days wide.
SLOW = (100.0, 115.0, 0.005)
SLOW_LIMIT = 0.0005


def covariance_of(spread):
    (end, start, rate), (end_start, end_rate, start_rate) = spread
    return np.array(
        [
            [end * end, end * start * end_start, end * rate * end_rate],
            [end * start * end_start, start * start, start * rate * start_rate],
            [end * rate * end_rate, start * rate * start_rate, rate * rate],
        ]
    )


def slow_curve(spread):
    end, start, rate = SLOW
    approach = Approach(
        end=end, start=start, rate=rate, residuals=0, freedom=10, covariance=covariance_of(spread)
    )
    return DryingCurve(since=START, approach=approach, means=())


def half_band(function, spread):
    """t x the standard deviation of a function of end, start and rate."""
    slopes = []
    for place, value in enumerate(SLOW):
        more, less = list(SLOW), list(SLOW)
        more[place], less[place] = value * 1.0001, value * 0.9999
        slopes.append((function(*more) - function(*less)) / (value * 0.0002))
    return T_10 * math.sqrt(np.array(slopes) @ covariance_of(spread) @ np.array(slopes))


def day_by_halving(end, start, rate):
    """The day on which the coming week loses just the limit."""
    low, high = 0.0, 5000.0
    for _ in range(100):
        middle = (low + high) / 2
        if loss_of_week(end, start - end, rate, middle) > SLOW_LIMIT:
            low = middle
        else:
            high = middle
    return low


@spreads
def test_the_band_of_the_date_is_that_of_a_numeric_derivative(spread):
    stable = slow_curve(spread).stable_date(limit=Decimal(str(SLOW_LIMIT)), confidence=0.95)
    day, half = day_by_halving(*SLOW), half_band(day_by_halving, spread)
    assert 40 < half < day - 40  # wide enough to tell, and not cut off at the first weighing
    assert (stable.on - START).days == math.ceil(day)
    for found, expected in ((stable.low, day - half), (stable.high, day + half)):
        assert (found - START).days == pytest.approx(expected, abs=1.5)


@spreads
@pytest.mark.parametrize("day", [0, 30, 400])
def test_the_band_of_the_weight_is_that_of_a_numeric_derivative(spread, day):
    def weight(end, start, rate):
        return end + (start - end) * math.exp(-rate * day)

    half = slow_curve(spread).approach.half_width(day, confidence=0.95)
    assert half == pytest.approx(half_band(weight, spread), rel=1e-3, abs=1e-6)


@spreads
def test_the_bound_of_what_is_left_is_that_of_a_numeric_derivative(spread):
    def left(end, start, rate):
        then, now = (end + (start - end) * math.exp(-rate * day) for day in (300, 20))
        return then / now

    # One-sided at 97.5 % is as far off as two-sided at 95 %.
    found = slow_curve(spread).left(on(20), on(300), confidence=0.975)
    assert float(found) == pytest.approx(left(*SLOW) - half_band(left, spread), abs=2e-5)


def test_far_off_days_are_no_prediction():
    end, start, rate = 100.0, 115.0, 0.001
    slow = Approach(end=end, start=start, rate=rate, residuals=0, freedom=0, covariance=None)
    curve = DryingCurve(since=START, approach=slow, means=())
    # 15 exp(-0.001 t) x 0.0070 = 0.000001 x 100: some 6,960 days.
    assert curve.stable_date(limit=Decimal("0.000001"), confidence=0.95) is None
