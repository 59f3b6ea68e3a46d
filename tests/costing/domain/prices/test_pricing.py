"""Prices: laws first, then textbook examples."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.prices.pricing import margin_of, markup_of, price_for_margin, price_for_markup
from costing.errors import PriceNotPossible

UNIT = 10_000

costs = st.integers(1, 10**9)
steps = st.sampled_from([1, 100, 500, 2_500, 10_000])
margins = st.decimals(0, Decimal("0.99"), places=4)
markups = st.decimals(0, 20, places=4)


@given(cost=costs, margin=margins, step=steps)
def test_a_price_keeps_the_margin_and_a_step_less_would_not(cost, margin, step):
    price = price_for_margin(cost, margin, step=step)
    assert price % step == 0
    assert Fraction(price - cost) >= Fraction(margin) * price
    assert Fraction(price - step - cost) < Fraction(margin) * (price - step)
    assert margin_of(price, cost) >= margin


@given(cost=costs, markup=markups, step=steps)
def test_a_price_keeps_the_markup_and_a_step_less_would_not(cost, markup, step):
    price = price_for_markup(cost, markup, step=step)
    assert price % step == 0
    assert Fraction(price - cost) >= Fraction(markup) * cost
    assert Fraction(price - step - cost) < Fraction(markup) * cost
    assert markup_of(price, cost) >= markup


@given(cost=costs, more=costs, margin=margins, step=steps)
def test_what_costs_more_is_never_priced_lower(cost, more, margin, step):
    low = price_for_margin(cost, margin, step=step)
    assert low <= price_for_margin(cost + more, margin, step=step)


@given(price=costs, cost=costs)
def test_margin_and_markup_tell_the_same_profit(price, cost):
    exact = Fraction(price - cost)
    place = Fraction(1, 2 * 10**6)
    assert abs(Fraction(margin_of(price, cost)) - exact / price) <= place
    assert abs(Fraction(markup_of(price, cost)) - exact / cost) <= place


@pytest.mark.parametrize(
    "margin", ["1", "1.5", "-0.01", "NaN", "Infinity", "1E-999999", "0.1234567"]
)
def test_an_impossible_margin_is_refused(margin):
    with pytest.raises(PriceNotPossible) as refused:
        price_for_margin(UNIT, Decimal(margin))
    assert [fault.field for fault in refused.value.faults] == ["margin"]


@pytest.mark.parametrize("markup", ["-0.01", "1000", "1E+999999", "sNaN"])
def test_an_impossible_markup_is_refused(markup):
    with pytest.raises(PriceNotPossible):
        price_for_markup(UNIT, Decimal(markup))


def test_all_that_is_wrong_with_a_price_is_told():
    with pytest.raises(PriceNotPossible) as refused:
        price_for_margin(0, Decimal(2), step=0)
    assert [fault.field for fault in refused.value.faults] == ["margin", "cost", "step"]


def test_a_price_that_cannot_be_kept_is_refused():
    with pytest.raises(PriceNotPossible):
        price_for_margin(2**62, Decimal("0.9"))


def test_no_margin_of_no_price_and_no_markup_on_no_cost():
    with pytest.raises(PriceNotPossible):
        margin_of(0, 1)
    with pytest.raises(PriceNotPossible):
        markup_of(1, 0)


def test_a_price_ends_on_five_cents():
    assert price_for_margin(13_300, Decimal("0.5"), step=500) == 27_000


# --- worked examples -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cost", "percent", "price"),
    [
        ("62", 15, "71.3"),
        ("750", 45, "1087.5"),
        ("1.3", 60, "2.08"),
        # given there as 'find the cost'; turned round, since the price is what is asked for here
        ("8.85", 20, "10.62"),
        ("11.8", 125, "26.55"),
        ("25", 18, "29.5"),
    ],
)
def test_prices_by_markup(cost, percent, price):
    """OpenStax, Contemporary Mathematics, 6.2 discounts, markups and sales tax."""
    amount = int(Decimal(cost) * UNIT)
    assert price_for_markup(amount, Decimal(percent) / 100) == Decimal(price) * UNIT


@pytest.mark.parametrize(
    ("cost", "price", "percent"), [("90", "103.5", 15), ("5.2", "9.9", 90.38), ("480", "840", 75)]
)
def test_markup_of_a_price(cost, price, percent):
    """OpenStax, Contemporary Mathematics, 6.2 discounts, markups and sales tax."""
    markup = markup_of(int(Decimal(price) * UNIT), int(Decimal(cost) * UNIT))
    assert float(markup) * 100 == pytest.approx(percent, abs=0.005)


@pytest.mark.parametrize(("cost", "price"), [(8, 96_000), (8 + 1, 108_000)])
def test_cost_plus_price_on_variable_and_on_full_cost(cost, price):
    """OpenStax, Principles of Accounting, Volume 2: Managerial Accounting, 9.4: 9.60 and 10.80.

    A variable cost of 8 and 1 of fixed cost a unit, 20 percent on top.
    """
    assert price_for_markup(cost * UNIT, Decimal("0.2")) == price
