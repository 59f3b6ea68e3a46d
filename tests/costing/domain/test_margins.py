"""Margin of price and markup on cost: each turned into the other, never taken for the other."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.ladder import restoring_price
from costing.domain.margins import Margin, Markup
from costing.domain.pricing import price_for_markup
from costing.domain.sums import sums
from costing.errors import PriceNotPossible

UNIT = 10_000


def money(text):
    return int(Decimal(str(text)) * UNIT)


@given(price=st.integers(1, 10**9), cost=st.integers(1, 10**9))
def test_both_tell_of_the_same_price(price, cost):
    margin, markup = Margin.of(price=price, cost=cost), Markup.of(price=price, cost=cost)
    assert abs(Fraction(margin.share) * price - Fraction(markup.share) * cost) <= Fraction(
        price + cost, 2 * 10**6
    )


@given(st.integers(0, 900_000).map(lambda n: Decimal(n).scaleb(-6)))
def test_there_and_back_is_the_same_within_the_places_kept(share):
    margin = Margin(share)
    assert abs(margin.as_markup().as_margin().share - share) <= Decimal("0.000001")
    markup = Markup(share)
    assert abs(markup.as_margin().as_markup().share - share) <= Decimal("0.000004")


@given(st.integers(10**5, 10**7), st.integers(1, 900).map(lambda n: Decimal(n).scaleb(-3)))
def test_the_price_of_a_margin_has_that_margin(cost, share):
    margin = Margin(share)
    found = Margin.of(price=margin.price(cost), cost=cost)
    assert margin <= Margin(found.share + Decimal("0.000001"))
    assert Margin.of(price=margin.price(cost) - 2, cost=cost) <= margin


def test_they_do_not_compare_and_are_not_equal():
    assert Margin(Decimal("0.5")) != Markup(Decimal("0.5"))
    with pytest.raises(TypeError):
        _ = Margin(Decimal("0.5")) < Markup(Decimal("0.6"))


def test_the_same_half_gives_two_prices():
    assert Margin(Decimal("0.5")).price(2 * UNIT) == 4 * UNIT
    assert Markup(Decimal("0.5")).price(2 * UNIT) == 3 * UNIT
    assert Margin(Decimal("0.5")).as_markup() == Markup(Decimal(1))


def test_shares_that_have_no_counterpart_are_refused():
    with pytest.raises(PriceNotPossible):
        Margin(Decimal(1)).as_markup()
    with pytest.raises(PriceNotPossible):
        Markup(Decimal(-1)).as_margin()


@pytest.mark.parametrize(
    ("cost", "percent", "price"), [(62, 15, 71.3), (750, 45, 1087.5), (1.3, 60, 2.08)], ids=str
)
def test_markup_on_cost_as_published(cost, percent, price):
    """OpenStax, Contemporary Mathematics, section 6.2 discounts, markups and sales tax."""
    assert price_for_markup(money(cost), Decimal(percent) / 100) == money(price)


@pytest.mark.parametrize(
    ("cost", "price", "percent"), [(90, 103.5, "15"), (5.2, 9.9, "90.38"), (480, 840, "75")]
)
def test_markup_found_as_published(cost, price, percent):
    """OpenStax, Contemporary Mathematics, section 6.2 discounts, markups and sales tax."""
    found = Markup.of(price=money(price), cost=money(cost)).share * 100
    assert round(found, 2) == Decimal(percent)


@pytest.mark.parametrize(
    ("price", "percent", "cost"), [(10.62, 20, 8.85), (26.55, 125, 11.8), (29.5, 18, 25)]
)
def test_cost_behind_a_markup_as_published(price, percent, cost):
    """OpenStax, Contemporary Mathematics, section 6.2 discounts, markups and sales tax."""
    assert Markup.of(price=money(price), cost=money(cost)).share == Decimal(percent) / 100


def test_discounts_as_published():
    """OpenStax, Contemporary Mathematics, section 6.2: 30 % off 80 is 56; 168 of 240 is 30 % off;
    189 at 10 % off was 210, 90 at 75 % off was 360."""
    assert sums([money(80)], discount=Decimal("0.3")).goods == money(56)
    assert -Markup.of(price=money(168), cost=money(240)).share == Decimal("0.3")
    for net, share, listed in ((189, "0.1", 210), (90, "0.75", 360)):
        found = restoring_price(money(net), discount=Decimal(share), step=1, ending=0)
        assert found == money(listed)


def test_cost_plus_as_published():
    """OpenStax, Principles of Accounting, Volume 2, section 9.4 (cost-plus): 20 % on a variable
    cost of 8 is 9.60, on the full cost of 9 it is 10.80."""
    assert Markup(Decimal("0.2")).price(money(8)) == money("9.6")
    assert Markup(Decimal("0.2")).price(money(9)) == money("10.8")
