"""The price ladder: never under the floor, on its ending, never dearer for more."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from costing.domain.prices.ladder import (
    Rung,
    Terms,
    TierLadder,
    kept_margin,
    ladder_faults,
    markup_kept,
    on_ending,
    price_keeping,
    restoring_price,
    rung_for,
    without_tax,
)
from costing.domain.prices.pricing import price_for_margin
from costing.domain.quotes.quoting import sums
from costing.errors import PriceNotPossible

MONEY = st.integers(1, 10_000_000)
SHARES = st.integers(0, 600_000).map(lambda n: Decimal(n).scaleb(-6))
FEE = Terms(fee_share=Decimal("0.02"))
SMALL = st.integers(0, 250_000).map(lambda n: Decimal(n).scaleb(-6))


@st.composite
def endings(draw):
    step = draw(st.integers(1, 50_000))
    return {"step": step, "ending": draw(st.integers(0, step - 1))}


@st.composite
def terms(draw):
    return Terms(
        **draw(endings()),
        tax_share=draw(SMALL),
        tax_included=draw(st.booleans()),
        fee_share=draw(st.integers(0, 100_000)) * Decimal("0.000001"),
        fee_fixed=draw(st.integers(0, 10_000)),
    )


def kept(price, cost, terms):
    """What a written price keeps of itself without tax, exactly."""
    net = without_tax(price, tax_share=terms.tax_share, tax_included=terms.tax_included)
    paid = net * (1 + Fraction(terms.tax_share))
    return (net - paid * Fraction(terms.fee_share) - terms.fee_fixed - cost) / net


@given(price=st.integers(0, 10**9), shape=endings())
def test_on_the_ending_it_is_the_lowest_that_is_not_below(price, shape):
    found = on_ending(price, **shape)
    assert found >= price
    assert found % shape["step"] == shape["ending"]
    assert found - shape["step"] < max(price, shape["ending"])


@given(cost=MONEY, margin=SHARES, terms=terms())
def test_never_under_the_floor_and_no_dearer_than_the_ending_asks(cost, margin, terms):
    price = price_keeping(cost, margin=margin, terms=terms)
    assert price % terms.step == terms.ending
    assert kept(price, cost, terms) >= Fraction(margin)
    lower = price - terms.step
    assert lower <= 0 or kept(lower, cost, terms) < Fraction(margin)


@given(cost=MONEY, more=st.integers(0, 100_000), margin=SHARES, terms=terms())
def test_what_costs_more_is_never_priced_lower(cost, more, margin, terms):
    assert price_keeping(cost + more, margin=margin, terms=terms) >= price_keeping(
        cost, margin=margin, terms=terms
    )


@settings(max_examples=50)
@given(cost=MONEY, margin=SHARES, step=st.integers(1, 50_000))
def test_without_fees_and_tax_it_is_the_price_for_the_margin(cost, margin, step):
    assert price_keeping(cost, margin=margin, terms=Terms(step=step)) == price_for_margin(
        cost, margin, step=step
    )


@given(floor=MONEY, discount=SHARES, shape=endings())
def test_a_restoring_price_is_not_under_the_floor_after_its_discount(floor, discount, shape):
    price = restoring_price(floor, discount=discount, **shape)
    assert price * (1 - Fraction(discount)) >= floor
    assert price - shape["step"] <= 0 or (price - shape["step"]) * (1 - Fraction(discount)) < floor


@given(
    st.lists(st.tuples(st.integers(1, 500), st.integers(1, 100_000)), min_size=1, max_size=6),
    st.lists(st.tuples(st.integers(1, 500), st.integers(1, 100_000)), max_size=6),
)
def test_a_ladder_without_faults_is_monotone_in_quantity_and_in_its_steps(first, second):
    def tier(name, rungs):
        return TierLadder(
            name=name, rungs=tuple(Rung(from_quantity=q, price=p) for q, p in dict(rungs).items())
        )

    higher, lower = tier("Direct", first), tier("Wholesale", second)
    faults = ladder_faults([higher, lower])

    def price(tier, quantity):
        found = rung_for(tier.rungs, quantity)
        return found.price if found else None

    wrong = False
    for quantity in range(1, 502):
        here, there = price(higher, quantity), price(lower, quantity)
        before = [price(each, quantity - 1) for each in (higher, lower)]
        wrong |= here is not None and there is not None and there > here
        wrong |= any(
            was is not None and now > was
            for was, now in zip(before, (here, there), strict=True)
            if now is not None
        )
    assert bool(faults) is wrong


def test_a_tier_with_tax_in_its_prices_is_compared_without_it():
    direct = TierLadder(
        name="Direct",
        rungs=(Rung(from_quantity=1, price=59_500),),
        tax_share=Decimal("0.19"),
        tax_included=True,
    )
    shops = TierLadder(name="Shops", rungs=(Rung(from_quantity=1, price=50_000),))
    dearer = TierLadder(name="Shops", rungs=(Rung(from_quantity=1, price=50_100),))
    assert ladder_faults([direct, shops]) == []
    (fault,) = ladder_faults([direct, dearer])
    assert fault.code == "step-above"
    assert "Shops would ask more than Direct from 1 bars on" in fault.message


def test_worked_by_hand_with_fees_and_tax():
    """2.00 a bar, 40 % floor, a card fee of 3 % of what is paid and 0.25 a sale of five bars,
    20 % tax: 2.05 / (1 - 0.4 - 0.03 x 1.2) = 3.6347 without tax, 4.3617 with it."""
    shape = Terms(
        step=10_000,
        ending=9_500,
        tax_share=Decimal("0.2"),
        tax_included=True,
        fee_share=Decimal("0.03"),
        fee_fixed=500,
    )
    assert price_keeping(20_000, margin=Decimal("0.4"), terms=shape) == 49_500
    added = Terms(step=100, tax_share=Decimal("0.2"), fee_share=Decimal("0.03"), fee_fixed=500)
    assert price_keeping(20_000, margin=Decimal("0.4"), terms=added) == 36_400
    assert kept_margin(36_400, 20_000, terms=added) == Decimal("0.400813")
    assert markup_kept(36_400, 20_000, terms=added) == Decimal("0.729480")


def test_what_cannot_be_is_refused_with_its_field():
    for call, field in (
        (lambda: on_ending(1, step=5, ending=5), "ending"),
        (lambda: on_ending(-1, step=5, ending=0), "price"),
        (lambda: on_ending(2**63, step=5, ending=0), "price"),
        (lambda: price_keeping(0, margin=Decimal(0), terms=Terms()), "cost"),
        (lambda: price_keeping(1, margin=Decimal("0.98"), terms=FEE), "margin"),
        (lambda: restoring_price(1, discount=Decimal(1), step=1, ending=0), "discount"),
        (lambda: kept_margin(0, 1, terms=Terms()), "price"),
        (lambda: markup_kept(1, 0, terms=Terms()), "cost"),
    ):
        with pytest.raises(PriceNotPossible) as refused:
            call()
        assert [fault.field for fault in refused.value.faults] == [field]


def test_a_line_is_rounded_half_to_even_once():
    assert sums([3 * 11], discount=Decimal("0.5")).goods == 16
    assert sums([5 * 11], discount=Decimal("0.1")).goods == 50
