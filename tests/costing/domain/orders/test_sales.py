"""Parts of an order add up to it to the last unit, in any order of any parts."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.orders.sales import (
    Billed,
    OrderSums,
    Packed,
    bill_between,
    billed,
    carton_bounds,
    cartons_by_line,
    packing_by_line,
    part_between,
    spread_over,
)
from costing.domain.profit.profit import Figures, added, total
from costing.domain.quotes.quoting import sums

shares = st.sampled_from(["0", "0.05", "0.0725", "0.19", "0.25"]).map(Decimal)
lines = st.lists(st.integers(0, 10**9), min_size=1, max_size=6)


@given(
    lines=lines, freight=st.integers(0, 10**7), tax=shares, off=shares, included=st.booleans(),
    unit=st.sampled_from([1, 100, 10_000]),
)  # fmt: skip
def test_lines_and_freight_are_the_order_to_the_last_unit(
    *, lines, freight, tax, off, included, unit
):
    whole = sums(
        lines, discount=off, freight=freight, tax_share=tax, tax_included=included, unit=unit
    )
    order = OrderSums(
        lines=whole.line_amounts, freight=whole.freight, tax=whole.tax, tax_included=included
    )
    parts, carriage = billed(order, unit=unit)
    every = [*parts, carriage]
    assert sum(part.gross for part in every) == whole.total
    assert sum(part.tax for part in every) == whole.tax
    assert all(part.net >= 0 and part.tax >= 0 and part.gross % unit == 0 for part in every)
    for part, amount in zip(parts, whole.line_amounts, strict=True):
        assert amount == (part.gross if included else part.net)


@given(
    net=st.integers(0, 10**12), tax=st.integers(0, 10**10),
    steps=st.lists(st.integers(1, 50), min_size=1, max_size=12),
    unit=st.sampled_from([1, 100]),
)  # fmt: skip
def test_part_shipments_add_up_and_none_is_off_by_more_than_a_unit(net, tax, steps, unit):
    whole = Billed(net=net * unit, tax=tax * unit)
    bars, before, parts = sum(steps), 0, []
    for step in steps:
        part = bill_between(whole, before, before + step, of=bars, unit=unit)
        assert part.net % unit == 0 and part.net >= 0 and part.tax >= 0
        assert abs(part.net - Decimal(whole.net) * step / bars) <= unit + Decimal("0.001")
        parts.append(part)
        before += step
    assert sum(part.net for part in parts) == whole.net
    assert sum(part.tax for part in parts) == whole.tax


def test_an_amount_finer_than_the_unit_is_not_lost():
    assert [part_between(101, n, n + 1, of=2, unit=100) for n in (0, 1)] == [50, 51]


@given(
    packed=st.lists(
        st.builds(Packed, bars=st.integers(1, 200), per_carton=st.integers(1, 48)),
        min_size=1,
        max_size=5,
    ),
    place=st.integers(0, 10**6),
)
def test_cartons_are_all_given_out_and_hold_the_bars(packed, place):
    fewest, most = carton_bounds(packed)
    assert 1 <= fewest <= most
    cartons = fewest + place % (most - fewest + 1)
    dealt = cartons_by_line(packed, cartons)
    assert sum(dealt) == cartons and min(dealt) >= 0
    own = cartons_by_line(packed, most)
    assert all(n * line.per_carton >= line.bars for n, line in zip(own, packed, strict=True))


def test_a_single_line_needs_just_its_cartons():
    assert carton_bounds([Packed(bars=25, per_carton=12)]) == (3, 3)
    assert carton_bounds([Packed(bars=13, per_carton=12), Packed(bars=11, per_carton=12)]) == (2, 3)


@given(
    needs=st.lists(st.dictionaries(st.integers(1, 3), st.integers(1, 99)), min_size=1, max_size=5),
    cost=st.integers(0, 10**9),
)
def test_packing_is_spread_by_what_each_line_takes(needs, cost):
    used = {material for need in needs for material in need}
    costs = dict.fromkeys(used, cost)
    spread = packing_by_line(needs, costs)
    assert sum(spread) == sum(costs.values())
    assert all(part == 0 for part, need in zip(spread, needs, strict=True) if not need)


@pytest.mark.parametrize(("weights", "parts"), [([0, 0], [2, 1]), ([1, 2], [1, 2])])
def test_fees_are_spread_even_where_nothing_is_paid(weights, parts):
    assert spread_over(3, weights) == parts


figures = st.builds(Figures, **dict.fromkeys(
    ("bars", "returned", "sold", "credited", "cost_out", "cost_back", "packed", "fees"),
    st.integers(0, 10**9),
))  # fmt: skip
groups = st.dictionaries(st.tuples(st.sampled_from("abc"), st.sampled_from("xy")), figures)


@given(parts=st.lists(groups, max_size=3))
def test_sums_over_groups_are_the_sum_of_everything(parts):
    whole = sum((each for part in parts for each in part.values()), Figures())
    found = total(added(parts))
    assert found == whole
    assert found.contribution == (found.revenue - found.cost_of_goods - found.packing - found.fees)
    assert list(added(parts)) == sorted({group for part in parts for group in part})
