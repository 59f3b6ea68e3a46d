"""How far what was weighed is from the plan. The tolerances are common practice, no source."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.bench.deviations import WeighedLine, deviations, tolerance, verdict

G = 10**9
amounts = st.integers(1, 50_000).map(lambda grams: grams * G)
steps = st.sampled_from([G // 100, G // 10, G, 5 * G])


def line(planned, actual, allowed=0, position=0):
    return WeighedLine(position=position, planned=planned, actual=actual, tolerance=allowed)


@given(amounts, steps, st.booleans())
def test_what_went_by_the_plan_is_no_deviation(planned, step, close):
    allowed = tolerance(planned, step=step, close=close)
    assert deviations([line(planned, planned, allowed), line(planned, None, allowed)]) == ()


@given(amounts, amounts, steps)
def test_the_difference_leads_back_to_the_actual(planned, actual, step):
    found = deviations([line(planned, actual, tolerance(planned, step=step, close=False))])
    for one in found:
        assert one.planned + one.difference == actual
        assert abs(one.share * planned - one.difference) <= planned * Decimal("0.000001")
        assert one.is_outside == (abs(one.difference) > one.tolerance)
    assert bool(found) == (planned != actual)


@given(amounts, steps, st.booleans())
def test_a_tolerance_is_a_weight_the_scale_shows(planned, step, close):
    allowed = tolerance(planned, step=step, close=close)
    assert allowed >= step and allowed % step == 0
    assert tolerance(planned, step=step, close=True) <= tolerance(planned, step=step, close=False)


def test_examples():
    # 1 % of 700 g is 7 g; 0.5 % of 140 g is 0.7 g, below the step of a kitchen scale.
    assert tolerance(700 * G, step=G, close=False) == 7 * G
    assert tolerance(140 * G, step=G, close=True) == G
    assert tolerance(140 * G, step=G // 10, close=True) == 7 * G // 10
    assert tolerance(8, step=0, close=False) == 0


def test_pieces_are_outside_by_a_single_one():
    [one] = deviations([line(8, 7)])
    assert one.is_outside and one.share == Decimal("-0.125")


@pytest.mark.parametrize(
    ("actual", "word"), [(95, "inside"), (105, "inside"), (94, "under"), (106, "over")]
)
def test_a_reading_is_inside_up_to_the_ends_of_its_tolerance(actual, word):
    assert verdict(100, actual, tolerance=5) == word
    assert verdict(100, 100, tolerance=0) == "inside"
