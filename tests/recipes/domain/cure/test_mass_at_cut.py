"""Mass at the cut: conservation of mass, and what is asked about.

The figures are counted by hand: 1000 g poured for ten bars of 100 g.
"""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.cure.mass_at_cut import (
    Asked,
    CutParts,
    ExpectedCut,
    allowed_by_scales,
    balance,
    excess,
    outweigh_pour,
    reasons_asked,
)
from recipes.domain.scales import Scale, Scales

G = 10**9
TEN = ExpectedCut(poured_ng=1000 * G, planned_bar_ng=Fraction(100 * G), bar_ng=Fraction(100 * G))

weights = st.none() | st.integers(0, 3000 * G)
parts = st.builds(
    CutParts,
    good=st.integers(0, 40),
    rejected=st.integers(0, 40),
    good_ng=weights,
    rejected_ng=weights,
    ends_ng=weights,
)


def asked(cut, expected=TEN):
    return set(reasons_asked(balance(cut, expected), expected))


def weighed(good_g, good=10, **values):
    return CutParts(good=good, good_ng=good_g * G, **values)


@given(parts, st.integers(0, 5000 * G), st.integers(0, 100 * G))
def test_what_is_stated_is_within_the_pour_and_the_scale_or_in_excess(cut, poured, allowance):
    over = excess(cut, poured_ng=poured, allowance_ng=allowance)
    assert over == max(cut.stated_ng - (poured + allowance), 0)


@given(st.lists(st.integers(1, 400 * G), min_size=1), st.integers(1, 10 * G))
def test_bars_outweigh_a_pour_from_one_step_more_than_readings(bars, step):
    most = sum(bars) - step * (len(bars) + 1)
    assert not outweigh_pour(bars, poured_ng=most, scales=Scales(step_ng=step))
    assert outweigh_pour(bars, poured_ng=most - 1, scales=Scales(step_ng=step))


@given(parts)
def test_the_parts_and_the_loss_are_the_pour(cut):
    found = balance(cut, TEN)
    assert found.loss_ng is not None and 0 <= found.loss_ng <= TEN.poured_ng
    if not cut.unweighed:
        assert found.loss_ng == max(TEN.poured_ng - cut.stated_ng, 0)


def test_the_scale_allows_a_step_for_each_reading():
    cut = weighed(995, rejected=2, rejected_ng=4 * G, ends_ng=9 * G)
    tenths = Scales(step_ng=G // 10)
    # ten bars, two rejects, the ends, and the pour
    assert allowed_by_scales(cut, [1000 * G], tenths) == 14 * G // 10
    assert allowed_by_scales(CutParts(good=10), [400 * G, 600 * G], tenths) == 2 * G // 10
    assert excess(cut, poured_ng=1000 * G, allowance_ng=8 * G) == 0
    assert excess(cut, poured_ng=1000 * G, allowance_ng=7 * G) == 1 * G


def test_each_reading_is_allowed_the_step_of_the_scale_that_holds_it():
    bench = Scale(name="Bench", step_ng=G // 10, capacity_ng=500 * G)
    floor = Scale(name="Floor", step_ng=5 * G, capacity_ng=60_000 * G)
    both = Scales(kept=(bench, floor))
    # Ten bars one by one are ten tenths of a gram; together, on the floor scale, 5 g; the pour too.
    assert allowed_by_scales(weighed(995), [1000 * G], both) == 10 * G
    few = weighed(400, good=4, ends_ng=9 * G)
    assert allowed_by_scales(few, [450 * G], both) == 6 * G // 10
    assert not outweigh_pour([400 * G, 605 * G], poured_ng=995 * G, scales=both)
    assert outweigh_pour([400 * G, 606 * G], poured_ng=995 * G, scales=both)


@pytest.mark.parametrize(
    ("good_g", "ends_g", "reasons"),
    [
        (900, None, set()),  # 100 g of 1000 are just the usual loss
        (899, None, {Asked.LOSS}),
        (760, 150, set()),
        (750, 150, set()),  # a bar of 75 g is just within a quarter of 100 g
        (749, 200, {Asked.BAR_WEIGHT}),
        (700, 100, {Asked.LOSS, Asked.BAR_WEIGHT}),
    ],
)
def test_a_reason_is_asked_beyond_a_tenth_lost_or_a_quarter_off(good_g, ends_g, reasons):
    assert asked(weighed(good_g, ends_ng=None if ends_g is None else ends_g * G)) == reasons


def test_bars_that_are_too_heavy_are_asked_about_too():
    assert asked(weighed(1000, good=8)) == set()  # 125 g each
    assert asked(weighed(1000, good=7)) == {Asked.BAR_WEIGHT}


def test_bars_that_nobody_weighed_are_taken_as_planned():
    assert asked(CutParts(good=9)) == set()
    assert asked(CutParts(good=8)) == {Asked.LOSS}
    assert asked(CutParts(good=5, rejected=4)) == set()
    # Thin cutting gives more bars of what there is, and nothing is lost.
    assert asked(CutParts(good=13)) == set()
    assert asked(CutParts(good=14)) == {Asked.BAR_WEIGHT}
    thin = balance(CutParts(good=20), TEN)
    assert (thin.good_bar_ng, thin.loss_ng) == (50 * G, 0)


def test_planned_ends_and_the_rest_of_the_log_are_no_loss_unless_they_were_weighed():
    trimmed = ExpectedCut(
        poured_ng=1000 * G,
        planned_bar_ng=Fraction(80 * G),
        bar_ng=Fraction(80 * G),
        ends_ng=200 * G,
    )
    assert asked(CutParts(good=10), trimmed) == set()
    assert asked(CutParts(good=10, ends_ng=50 * G), trimmed) == {Asked.LOSS}


def test_a_pour_above_its_plan_gives_bars_that_are_heavier_than_planned():
    more = ExpectedCut(
        poured_ng=1300 * G, planned_bar_ng=Fraction(100 * G), bar_ng=Fraction(130 * G)
    )
    assert asked(CutParts(good=10), more) == {Asked.BAR_WEIGHT}


def test_without_a_plan_of_bars_only_what_was_weighed_is_judged():
    unknown = ExpectedCut(poured_ng=1000 * G)
    assert balance(CutParts(good=3), unknown).loss_ng is None
    assert asked(CutParts(good=3), unknown) == set()
    assert asked(CutParts(good=3, good_ng=800 * G), unknown) == {Asked.LOSS}


def test_rejects_alone_have_no_weight_of_good_bars():
    assert balance(CutParts(good=0, rejected=10), TEN).good_bar_ng is None
    assert asked(CutParts(good=0, rejected=10, rejected_ng=500 * G)) == {Asked.LOSS}
