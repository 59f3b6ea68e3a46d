"""What was made against its plan, waterfalls and spreads: laws first, then textbook figures."""

import statistics
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.bar_cost.bar_cost import (
    BatchCost,
    CostKind,
    CostLine,
    bar_cost,
    bar_waterfall,
    spread_of,
    waterfall,
)
from costing.domain.bar_cost.variances import Amount, Compared, input_variance, variances
from costing.domain.rates.rates import Fees
from costing.errors import CostNotKnown

UNIT = 10_000
quantities = st.integers(0, 10**12)
costs = st.integers(0, 10**9)
inputs = st.lists(
    st.builds(
        Compared,
        kind=st.sampled_from(CostKind),
        code=st.just("x"),
        name=st.just("an input"),
        planned=st.builds(Amount, quantity=quantities, cost=st.none() | costs),
        actual=st.builds(Amount, quantity=quantities, cost=costs),
    ).filter(lambda each: each.planned.cost is not None or each.actual.quantity),
    max_size=8,
)


@given(inputs=inputs, planned=st.integers(1, 500), good=st.integers(0, 500))
def test_the_variances_add_up_exactly_to_the_total_difference(inputs, planned, good):
    found = variances(inputs, planned_bars=planned, good_bars=good)
    actual = sum(each.actual.cost for each in inputs)
    assert found.price() + found.usage() + found.yield_ == found.total
    assert found.total == actual - found.allowed
    by_kind = sum(found.price(kind) + found.usage(kind) for kind in CostKind)
    assert by_kind == actual - found.planned_cost
    if good == planned:
        assert found.yield_ == 0


@given(each=inputs.filter(bool).map(lambda some: some[0]))
def test_price_and_usage_are_the_difference_of_the_input(each):
    found = input_variance(each)
    assert found.total == found.actual_cost - found.planned_cost
    if each.planned.cost is None:
        assert found.price == 0 and not found.priced


@given(each=inputs.filter(bool).map(lambda some: some[0]), planned=st.integers(1, 10**12))
def test_of_what_had_no_price_and_was_not_taken_nobody_knows_what_that_saved(each, planned):
    """Left out at the bench, and in no lot when it was planned: it was not planned to cost 0."""
    left_out = replace(
        each, planned=Amount(quantity=planned, cost=None), actual=Amount(quantity=0, cost=0)
    )
    found = input_variance(left_out)
    assert (found.planned_cost, found.usage, found.price, found.priced) == (None, None, 0, False)
    together = variances([each, left_out], planned_bars=8, good_bars=8)
    assert together.planned_cost is None and together.total is None


@given(
    inputs=inputs,
    kind=st.sampled_from(CostKind),
    planned=st.none() | quantities,
    known=st.booleans(),
)
def test_what_is_not_known_of_an_input_is_not_known_of_its_sums(inputs, kind, planned, known):
    unknown = Compared(
        kind=kind,
        code="y",
        name="not known",
        planned=Amount(quantity=planned, cost=None if planned is None else 5),
        actual=Amount(quantity=7, cost=9 if known and planned is None else None),
    )
    one = input_variance(unknown)
    assert (one.price, one.usage, one.total) == (None, None, None)
    found = variances([*inputs, unknown], planned_bars=8, good_bars=8)
    assert found.total is found.price() is found.usage(kind) is None
    assert (found.actual_cost is None) == (unknown.actual.cost is None)
    others = [each for each in inputs if each.kind != kind]
    alone = variances(others, planned_bars=8, good_bars=8)
    for other in set(CostKind) - {kind}:
        assert found.price(other) == alone.price(other)


def test_the_same_as_planned_is_no_variance():
    same = Amount(quantity=700, cost=45_000)
    found = variances(
        [Compared(kind=CostKind.MATERIAL, code="o", name="Olive", planned=same, actual=same)],
        planned_bars=8,
        good_bars=8,
    )
    assert (found.price(), found.usage(), found.yield_, found.total) == (0, 0, 0, 0)


def test_direct_materials_of_a_textbook_exercise():
    """A published solution of exercise 23-5, direct materials variances: -180 and 138."""
    found = input_variance(
        Compared(
            kind=CostKind.MATERIAL,
            code="m",
            name="Material",
            planned=Amount(quantity=430, cost=430 * 69_000),
            actual=Amount(quantity=450, cost=2_925 * UNIT),
        )
    )
    assert (found.price, found.usage, found.total) == (-180 * UNIT, 138 * UNIT, -42 * UNIT)


def test_usage_and_yield_are_the_efficiency_against_the_good_units():
    """Horngren, Cost Accounting, chapter 7, the jacket maker (from memory).

    Planned 12,000 jackets of 2 yards at 30 and 0.8 hours at 20; made 10,000 with 22,200 yards at 28
    and 9,000 hours at 22. Prices 44,400 favorable and 18,000 unfavorable; efficiency 66,000 and
    20,000 unfavorable against what 10,000 jackets allow.
    """
    cloth = Compared(
        kind=CostKind.MATERIAL,
        code="cloth",
        name="Cloth",
        planned=Amount(quantity=24_000, cost=24_000 * 30 * UNIT),
        actual=Amount(quantity=22_200, cost=22_200 * 28 * UNIT),
    )
    labor = Compared(
        kind=CostKind.LABOR,
        code="labor",
        name="Labor",
        planned=Amount(quantity=9_600, cost=9_600 * 20 * UNIT),
        actual=Amount(quantity=9_000, cost=9_000 * 22 * UNIT),
    )
    found = variances([cloth, labor], planned_bars=12_000, good_bars=10_000)
    assert found.price(CostKind.MATERIAL) == -44_400 * UNIT
    assert found.price(CostKind.LABOR) == 18_000 * UNIT
    for one, efficiency in ((cloth, 66_000), (labor, 20_000)):
        alone = variances([one], planned_bars=12_000, good_bars=10_000)
        assert alone.usage() + alone.yield_ == efficiency * UNIT
    assert found.total == (66_000 + 20_000 + 18_000 - 44_400) * UNIT


def test_a_batch_without_planned_bars_has_no_standard():
    with pytest.raises(CostNotKnown):
        variances([], planned_bars=0, good_bars=3)


@given(
    parts=st.lists(
        st.tuples(st.sampled_from(CostKind), st.sampled_from("abc"), st.integers(-(10**6), 10**6)),
        max_size=12,
    )
)
def test_a_waterfall_ends_at_the_total(parts):
    steps = waterfall(parts)
    assert (steps[-1].total if steps else 0) == sum(amount for _, _, amount in parts)
    assert all(later.start == before.total for before, later in pairwise(steps))
    assert not steps or steps[0].start == 0


@given(costs=st.lists(st.integers(0, 10**7), min_size=1, max_size=6), good=st.integers(1, 90))
def test_the_waterfall_of_a_bar_ends_at_its_cost(costs, good):
    lines = [
        CostLine(kind=CostKind.MATERIAL, code=str(n), name=f"line {n}", cost=cost)
        for n, cost in enumerate(costs)
    ]
    bar = bar_cost(BatchCost(lines=tuple(lines)), good_bars=good)
    steps = bar_waterfall(bar)
    assert (steps[-1].total if steps else 0) == bar.per_bar


@given(
    total=st.integers(0, 10**9),
    good=st.integers(1, 100),
    part=st.fractions(0, 1),
)
def test_a_loss_of_the_books_is_taken_out_whole(total, good, part):
    loss = int(total * part)
    line = CostLine(kind=CostKind.MATERIAL, code="a", name="a", cost=total)
    bar = bar_cost(BatchCost(lines=(line,)), good_bars=good, abnormal_rejects=1, abnormal_loss=loss)
    assert bar.cost_of_good + bar.abnormal_loss == total
    assert sum(each.per_bar for each in bar.lines) == bar.per_bar


def test_more_than_all_cannot_be_lost():
    line = CostLine(kind=CostKind.MATERIAL, code="a", name="a", cost=5)
    with pytest.raises(CostNotKnown):
        bar_cost(BatchCost(lines=(line,)), good_bars=1, abnormal_loss=6)


@given(costs=st.lists(st.integers(0, 10**7), min_size=1, max_size=30))
def test_a_spread_is_what_the_standard_library_says(costs):
    found = spread_of(costs)
    assert found.lowest <= found.median <= found.highest
    assert found.lowest <= found.mean <= found.highest
    assert (found.mean, found.count) == (Fraction(sum(costs), len(costs)), len(costs))
    if len(costs) > 1:
        assert found.deviation == pytest.approx(statistics.stdev(costs))
    else:
        assert found.deviation is None
    assert spread_of([]) is None


@given(
    share=st.decimals(0, Decimal("0.99"), places=4),
    fixed=st.integers(0, 10**5),
    paid=st.integers(0, 10**8),
)
def test_fees_are_a_share_and_a_fixed_part(share, fixed, paid):
    assert Fees(share=share, fixed_per_sale=fixed).of(paid) == round(Fraction(share) * paid) + fixed
