"""Sums of quotes and orders: nothing gained or lost, to the last unit of any currency."""

from decimal import Decimal
from fractions import Fraction

import pytest
from babel.numbers import format_currency, get_currency_precision, parse_decimal
from hypothesis import given, settings
from hypothesis import strategies as st

from costing.domain.prices.ladder import restoring_price
from costing.domain.quotes.quoting import rounded_to, sums, taxed
from costing.errors import PriceNotPossible
from studio.foundation.money import PER_UNIT, format_money, to_decimal

SHARES = st.integers(0, 999_999).map(lambda n: Decimal(n).scaleb(-6))
UNITS = st.sampled_from([1, 10, 100, 10_000])
LINES = st.lists(st.integers(0, 10**9), max_size=12)


@given(LINES, SHARES, st.integers(0, 10**8), st.tuples(SHARES, st.booleans()), UNITS)
def test_lines_add_up_to_the_goods_and_all_to_the_total(lines, discount, freight, tax, unit):
    tax_share, included = tax
    found = sums(
        lines,
        discount=discount,
        freight=freight,
        tax_share=tax_share,
        tax_included=included,
        unit=unit,
    )
    assert sum(found.line_amounts) == found.goods
    assert found.total == found.goods + found.freight + (0 if included else found.tax)
    shown = (*found.line_amounts, *found.lines_without_tax, found.tax, found.total, found.freight)
    assert all(amount % unit == 0 and amount >= 0 for amount in shown)
    for part, line in zip(found.line_amounts, lines, strict=True):
        assert abs(part - line * (1 - Fraction(discount))) < 2 * unit
    base = found.goods + found.freight
    exact = base * Fraction(tax_share) / (1 + Fraction(tax_share) if included else 1)
    assert abs(found.tax - exact) <= Fraction(unit, 2)
    assert sum(found.lines_without_tax) <= found.goods
    if not included:
        assert found.lines_without_tax == found.line_amounts


@given(st.integers(0, 10**7), SHARES, UNITS)
def test_tax_added_and_tax_included_are_each_others_inverse(coins, tax_share, unit):
    """OpenStax, Contemporary Mathematics, section 6.2: price with tax = price x (1 + rate)."""
    added = taxed(coins * unit, tax_share=tax_share, tax_included=False, unit=unit)
    back = taxed(added.with_tax, tax_share=tax_share, tax_included=True, unit=unit)
    assert added.without_tax + added.tax == added.with_tax
    assert back == added


@given(st.integers(0, 10**10), SHARES, st.booleans(), UNITS)
def test_price_and_tax_are_the_price_with_tax(price, tax_share, included, unit):
    found = taxed(price, tax_share=tax_share, tax_included=included, unit=unit)
    assert found.without_tax + found.tax == found.with_tax
    assert found.without_tax % unit == found.tax % unit == found.with_tax % unit == 0


@settings(max_examples=60)
@given(st.integers(0, 10**10), st.sampled_from(["JPY", "USD", "TND", "EUR", "CHF", "KWD"]))
def test_rounded_as_the_locale_library_rounds(amount, currency):
    """Minor units by CLDR (ISO 4217) as Babel has them: JPY 0, USD 2, TND 3 decimals."""
    unit = PER_UNIT // 10 ** get_currency_precision(currency)
    printed = format_currency(to_decimal(amount), currency, format="#0.####", locale="en_US")
    assert to_decimal(rounded_to(amount, unit)) == parse_decimal(printed, locale="en_US")
    assert format_money(rounded_to(amount, unit), currency=currency) == format_money(
        amount, currency=currency
    )


@pytest.mark.parametrize(("currency", "digits"), [("JPY", 0), ("USD", 2), ("TND", 3)])
def test_minor_units_of_three_kinds(currency, digits):
    assert get_currency_precision(currency) == digits
    unit = PER_UNIT // 10**digits
    found = taxed(123_456_789, tax_share=Decimal("0.19"), tax_included=True, unit=unit)
    shown = [
        parse_decimal(
            format_currency(to_decimal(part), currency, format="#0.####", locale="en_US"),
            locale="en_US",
        )
        for part in (found.without_tax, found.tax, found.with_tax)
    ]
    assert shown[0] + shown[1] == shown[2]


def test_a_discount_of_a_cent_goes_to_one_line():
    found = sums([10_000, 10_000, 10_000], discount=Decimal("0.0034"), unit=100)
    assert found.goods == 29_900
    assert found.line_amounts == (10_000, 10_000, 9_900)


def test_discounts_as_published():
    """OpenStax, Contemporary Mathematics, section 6.2: 30 % off 80 is 56; 30 % off 240 is 168;
    189 at 10 % off was 210, 90 at 75 % off was 360."""
    assert sums([80 * PER_UNIT], discount=Decimal("0.3")).goods == 56 * PER_UNIT
    assert sums([240 * PER_UNIT], discount=Decimal("0.3")).goods == 168 * PER_UNIT
    for net, share, listed in ((189, "0.1", 210), (90, "0.75", 360)):
        found = restoring_price(net * PER_UNIT, discount=Decimal(share), step=1, ending=0)
        assert found == listed * PER_UNIT


def test_all_that_is_wrong_is_told_at_once():
    with pytest.raises(PriceNotPossible) as refused:
        sums([-1], discount=Decimal(1), freight=-1, tax_share=Decimal(2))
    assert [fault.field for fault in refused.value.faults] == [
        "lines",
        "freight",
        "discount",
        "tax_share",
    ]
    with pytest.raises(PriceNotPossible):
        sums([2**62])
    with pytest.raises(ValueError, match="unit"):
        rounded_to(1, 0)
