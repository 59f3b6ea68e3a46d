"""How much to order at a time: published examples, and laws on random cases."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.buying.lot_sizing import (
    Tier,
    annual_cost,
    economic_order_quantity,
    quantity_with_discounts,
)
from studio.foundation.errors import InvalidInput

# The expected values of stockpyl's documentation stand in the docstrings of the package (1.0.2);
# its examples are numbered after Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed.
positive = st.floats(0.01, 1e6, allow_nan=False)
shares = st.floats(0.01, 1, allow_nan=False)


@st.composite
def price_lists(draw):
    """1 to 4 prices, each lower and from a larger quantity on."""
    count = draw(st.integers(1, 4))
    starts = sorted(draw(st.sets(st.integers(1, 5000), min_size=count, max_size=count)))
    prices = sorted(
        draw(st.sets(st.integers(1, 1000), min_size=count, max_size=count)), reverse=True
    )
    return [Tier(start, price) for start, price in zip(starts, prices, strict=True)]


def test_the_economic_quantity_of_the_textbook():
    # Source: stockpyl 1.0.2, eoq, Example 3.1.
    found = economic_order_quantity(demand=1300, order_cost=8, holding_cost=0.225)
    assert found.quantity == pytest.approx(304.0467800264368, abs=1e-6)
    assert found.annual_cost == pytest.approx(68.41052550594829, abs=1e-6)


@given(demand=positive, order_cost=positive, holding=positive, factor=st.floats(0.2, 5))
def test_ordering_and_holding_cost_the_same_at_the_economic_quantity(
    demand, order_cost, holding, factor
):
    terms = {"demand": demand, "order_cost": order_cost, "holding_cost": holding}
    best = economic_order_quantity(**terms)
    # The first-order condition: the derivative -K D / Q^2 + h / 2 is nil.
    assert order_cost * demand / best.quantity == pytest.approx(holding * best.quantity / 2)
    assert annual_cost(best.quantity * factor, **terms) >= best.annual_cost * (1 - 1e-12)


@pytest.mark.parametrize("name", ["demand", "order_cost", "holding_cost"])
@pytest.mark.parametrize("value", [0, -1, math.inf, math.nan])
def test_an_economic_quantity_needs_numbers_above_zero(name, value):
    terms = {"demand": 10, "order_cost": 2, "holding_cost": 3} | {name: value}
    with pytest.raises(InvalidInput):
        economic_order_quantity(**terms)


def test_a_discount_for_all_units_moves_the_order_to_where_it_begins():
    # Source: stockpyl 1.0.2, eoq, all units, eqs. (3.18)-(3.19).
    tiers = [Tier(0, 500), Tier(200, 475), Tier(500, 450)]
    best = quantity_with_discounts(tiers, demand=1000, order_cost=200, holding_share=0.2)
    assert (best.quantity, best.tier) == (500, 2)
    assert best.annual_cost == pytest.approx(472900, abs=0.001)


def test_the_discount_exercise_with_five_prices():
    # Source: exercise in operations management with solution, least-cost order quantity with
    # discounts, question 1. It rounds the feasible economic quantity to 79 and costs to 0.6.
    tiers = [Tier(1, 53), Tier(50, 51.5), Tier(100, 49.5), Tier(200, 48), Tier(500, 47)]
    best = quantity_with_discounts(tiers, demand=800, order_cost=60, holding_share=0.3)
    assert (best.quantity, best.tier) == (200, 3)
    assert best.annual_cost == pytest.approx(40080, abs=0.6)
    for quantity, price, cost in (
        (79, 51.5, 42417.9),
        (100, 49.5, 40822.5),
        (200, 48, 40080),
        (500, 47, 41221),
    ):
        found = annual_cost(
            quantity, demand=800, order_cost=60, holding_cost=0.3 * price, unit_price=price
        )
        assert found == pytest.approx(cost, abs=0.6)
    feasible = economic_order_quantity(demand=800, order_cost=60, holding_cost=0.3 * 51.5)
    assert round(feasible.quantity) == 79


@given(tiers=price_lists(), demand=positive, order_cost=positive, share=shares)
def test_no_other_quantity_beats_the_one_with_discounts(tiers, demand, order_cost, share):
    best = quantity_with_discounts(tiers, demand=demand, order_cost=order_cost, holding_share=share)

    def cost(quantity):
        price = [tier.unit_price for tier in tiers if tier.from_quantity <= quantity][-1]
        return annual_cost(
            quantity,
            demand=demand,
            order_cost=order_cost,
            holding_cost=share * price,
            unit_price=price,
        )

    assert best.annual_cost == pytest.approx(cost(best.quantity))
    quantities = {tier.from_quantity for tier in tiers}
    for tier in tiers:
        ideal = math.sqrt(2 * order_cost * demand / (share * tier.unit_price))
        if ideal >= tiers[0].from_quantity:
            quantities |= {ideal, ideal * 1.1}
    quantities |= {best.quantity * 1.01, best.quantity + 1}
    assert all(best.annual_cost <= cost(each) * (1 + 1e-9) for each in quantities)


@pytest.mark.parametrize(
    "tiers", [[], [Tier(5, 2), Tier(5, 1)], [Tier(5, 2), Tier(1, 1)], [Tier(0, 0)]]
)
def test_prices_that_make_no_list_are_refused(tiers):
    with pytest.raises(InvalidInput):
        quantity_with_discounts(tiers, demand=1, order_cost=1, holding_share=0.1)


def test_nothing_is_ordered_by_the_empty_quantity():
    with pytest.raises(InvalidInput):
        annual_cost(0, demand=1, order_cost=1, holding_cost=1)
