"""Break-even and the smallest order, against published examples and plain counting."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.prices.ladder import Rung
from costing.domain.profit.break_even import OrderCosts, Sold, break_even, income, smallest_order
from costing.errors import BreakEvenRefusal

UNIT = 10_000


def money(number):
    return int(Decimal(str(number)) * UNIT)


def sold(price, cost, **more):
    return Sold(name="bar", price=money(price), variable_cost=money(cost), **more)


def test_break_even_point_as_published():
    """OpenStax, Principles of Accounting, Volume 2, section 3.2 break-even point."""
    one = sold(100, 20)
    found = break_even(money(18_000), [one])
    assert one.contribution == money(80)
    assert found.contribution_ratio == Decimal("0.8")
    assert (found.exact_bars, found.bars, found.exact_sales) == (225, 225, money(22_500))
    assert found.profit == 0
    assert income(money(18_000), [one], [175]) == money(-4_000)
    assert income(money(18_000), [one], [300]) == money(6_000)


def test_contribution_as_published():
    """OpenStax, Principles of Accounting, Volume 2, section 3.1 your turn (kiosk)."""
    kiosk = sold(25, 15.5)
    assert kiosk.contribution == money(9.5)
    assert [income(0, [kiosk], [n]) for n in (100, 200)] == [money(950), money(1_900)]
    assert [income(money(700), [kiosk], [n]) for n in (100, 200)] == [money(250), money(1_200)]


@pytest.mark.parametrize(
    ("stated", "expected"),
    [
        ((3.75, 1.5, 2475), (1100, 4125, 900)),
        ((4.25, 1.5, 2475), (900, 3825, 1650)),
        ((3.75, 1.55, 2475), (1125, 4218.75, 825)),
        ((3.75, 1.5, 2700), (1200, 4500, 675)),
        ((3.75, 1.45, 2875), (1250, 4687.5, 575)),
        ((3.95, 1.45, 2875), (1150, 4542.5, 875)),
    ],
)
def test_sensitivity_as_published(stated, expected):
    """OpenStax, Principles of Accounting, Volume 2, section 3.3 (espresso, 1,500 sold). The last
    income is cut off in print and follows from the others."""
    price, variable, fixed = stated
    units, sales, earned = expected
    one = sold(price, variable)
    found = break_even(money(fixed), [one])
    assert (found.exact_bars, found.exact_sales) == (units, money(sales))
    assert income(money(fixed), [one], [1_500]) == money(earned)


def test_a_mix_breaks_even_by_its_weighted_contribution():
    """The composite unit of OpenStax, Principles of Accounting, Volume 2, section 3.4, worked by
    hand: 2 bars that bring 3.00 and 1 that brings 1.50 bring 7.50; 750.00 takes 100 of them."""
    found = break_even(money(750), [sold(5, 2, mix=2), sold(4, 2.5, mix=1)])
    assert found.exact_bars == 300
    assert [part.bars for part in found.parts] == [200, 100]
    assert found.sales == money(1_400) == found.exact_sales
    assert found.contribution_per_bar == money(2.5)


PRODUCTS = st.lists(
    st.builds(
        Sold,
        name=st.just("bar"),
        price=st.integers(1, 100_000),
        variable_cost=st.integers(0, 100_000),
        mix=st.integers(1, 12),
    ),
    min_size=1,
    max_size=4,
)


@given(st.integers(0, 10**7), PRODUCTS, st.integers(0, 10**6))
def test_the_whole_bars_cover_what_is_needed_and_no_mix_that_loses_is_answered(
    fixed, products, target
):
    if sum(each.contribution * each.mix for each in products) <= 0:
        with pytest.raises(BreakEvenRefusal):
            break_even(fixed, products, target_profit=target)
        return
    found = break_even(fixed, products, target_profit=target)
    bars = [part.bars for part in found.parts]
    assert income(fixed, products, bars) == found.profit >= target
    assert found.exact_bars * found.contribution_per_bar == fixed + target
    assert found.bars == sum(bars) >= found.exact_bars
    assert found.bars < found.exact_bars + 1 + sum(each.mix for each in products)


def counted(rungs, cost, costs, most):
    """The smallest order by counting every quantity."""
    for quantity in range(1, most + 1):
        reached = [rung for rung in rungs if rung.from_quantity <= quantity]
        if not reached:
            continue
        price = max(reached, key=lambda rung: rung.from_quantity).price
        fee = Fraction(costs.fee_share) * (1 + Fraction(costs.tax_share))
        cartons = -(-quantity // costs.bars_per_carton)
        packing = costs.per_order + cartons * costs.per_carton
        if (price * (1 - fee) - cost) * quantity >= packing:
            return quantity
    return None


@given(
    st.dictionaries(st.integers(1, 60), st.integers(1, 200), min_size=1, max_size=3),
    st.integers(0, 150),
    st.builds(
        OrderCosts,
        per_order=st.integers(0, 2_000),
        per_carton=st.integers(0, 900),
        bars_per_carton=st.integers(1, 24),
        fee_share=st.sampled_from([Decimal(0), Decimal("0.03")]),
        tax_share=st.sampled_from([Decimal(0), Decimal("0.19")]),
    ),
)
def test_the_smallest_order_is_the_first_that_counting_finds(prices, cost, costs):
    rungs = [Rung(from_quantity=start, price=price) for start, price in prices.items()]
    found = smallest_order(rungs, cost, costs, most=150)
    expected = counted(rungs, cost, costs, 150)
    assert (found.quantity if found else None) == expected
    if found:
        assert found.left >= 0
        assert found.contribution - found.packing == found.left


def test_a_parcel_of_four_fifty_takes_three_bars():
    """4.00 a bar that costs 2.00, a parcel of 4.50 that holds 12: the third bar pays it."""
    costs = OrderCosts(per_order=money(3), per_carton=money(1.5), bars_per_carton=12)
    found = smallest_order([Rung(from_quantity=1, price=money(4))], money(2), costs, most=1000)
    assert (found.quantity, found.cartons, found.packing, found.left) == (
        3,
        1,
        money(4.5),
        money(1.5),
    )


def test_all_that_is_wrong_is_told():
    with pytest.raises(BreakEvenRefusal) as refused:
        break_even(-1, [sold(0, -1, mix=0)], target_profit=-1)
    assert [fault.field for fault in refused.value.faults] == [
        "fixed_cost",
        "target_profit",
        "products.0.price",
        "products.0.variable_cost",
        "products.0.mix",
    ]
    with pytest.raises(BreakEvenRefusal):
        break_even(1, [])
    with pytest.raises(BreakEvenRefusal) as refused:
        smallest_order([], -1, OrderCosts(per_order=0, bars_per_carton=0), most=1)
    assert len(refused.value.faults) == 3
