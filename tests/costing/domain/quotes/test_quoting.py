"""Cartons, floors after a discount, fees and margins of a quote's line."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.prices.ladder import Terms, kept_margin
from costing.domain.quotes.quoting import (
    Asked,
    Tax,
    carton_price,
    cartons,
    exempt,
    fees_of_bar,
    margin_left,
)

prices = st.integers(1, 10**8)
discounts = st.decimals(0, "0.95", places=4)
shares = st.decimals(0, "0.5", places=4)
taxes = st.builds(Tax, share=shares, included=st.booleans())


@given(st.integers(1, 10**5), st.integers(1, 500))
def test_cartons_hold_every_bar(bars, size):
    full, left = cartons(bars, size)
    assert full * size + left == bars and 0 <= left < size
    assert carton_price(7, size) == 7 * size


@given(prices, prices, discounts, st.integers(1, 10_000))
def test_the_restoring_price_is_the_lowest_that_is_not_under(price, floor, discount, step):
    asked = Asked(price=price, floor=floor, discount=discount)
    assert asked.under is (price * (1 - Fraction(discount)) < floor)
    restored = asked.restored(step=step, ending=0)
    assert restored % step == 0
    assert not Asked(price=restored, floor=floor, discount=discount).under
    lower = restored - step
    assert lower <= 0 or Asked(price=lower, floor=floor, discount=discount).under


def test_a_floor_that_is_not_known_is_under_nothing():
    asked = Asked(price=1, floor=None)
    assert not asked.under and asked.restored(step=100, ending=0) is None


@given(prices, st.integers(1, 10**7), taxes, shares)
def test_the_margin_is_that_of_the_price_ladder(price, cost, tax, fee_share):
    """One bar without a discount: the same margin as the ladder reckons for a written price."""
    fees = fees_of_bar(Fraction(price), share=fee_share, fixed=0, bars=1, tax=tax)
    margin = margin_left(price, quantity=1, cost=cost, fees=fees, tax=tax)
    terms = Terms(tax_share=tax.share, tax_included=tax.included, fee_share=fee_share)
    expected = kept_margin(price, cost, terms=terms)
    # the fee of a bar is rounded to a ten-thousandth, once
    net = tax.taken_off(Fraction(price))
    assert abs(Fraction(margin) - Fraction(expected)) <= Fraction(1, 2) / net + Fraction(2, 10**6)


def test_margins_by_hand():
    """12 bars at 5.00 less 4 %, 57.60 in all: 4.80 a bar; a card takes 3 % and 0.30 a sale."""
    fees = fees_of_bar(Fraction(48_000), share=Decimal("0.03"), fixed=3_000, bars=12, tax=Tax())
    assert fees == 1_440 + 250
    margin = margin_left(576_000, quantity=12, cost=20_000, fees=fees, tax=Tax())
    assert margin == Decimal("0.548125")  # (4.80 - 0.169 - 2.00) / 4.80
    assert margin_left(576_000, quantity=12, cost=None, fees=0, tax=Tax()) is None
    assert margin_left(0, quantity=12, cost=1, fees=0, tax=Tax()) is None
    assert margin_left(12, quantity=12, cost=2, fees=0, tax=Tax()) == -1


@pytest.mark.parametrize(("upward", "price"), [(False, 185_200), (True, 185_200)])
def test_who_is_exempt_pays_no_tax_that_is_in_a_price(upward, price):
    """20.00 with 8 % in it is 18.5185... without."""
    tax = Tax(share=Decimal("0.08"), included=True)
    assert exempt(200_000, tax, unit=100, upward=upward) == price
    assert exempt(200_000, tax, unit=1_000, upward=upward) == (186_000 if upward else 185_000)
    assert exempt(200_000, Tax(share=Decimal("0.08")), unit=100) == 200_000
