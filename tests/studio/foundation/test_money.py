"""Money: read and printed by locale, split and shared without loss."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.foundation.money import (
    MAX_MONEY,
    PER_UNIT,
    MoneyRefusal,
    amount_text,
    currency_digits,
    format_money,
    format_money_input,
    from_decimal,
    parse_money,
    quotient,
    share,
    split,
    to_decimal,
)

MONEY = st.integers(-MAX_MONEY, MAX_MONEY)
LOCALES = st.sampled_from(["en_US", "de_DE", "fr_FR", "de_CH", "hi_IN", "sv_SE", "ja_JP"])
CURRENCIES = st.sampled_from(["USD", "EUR", "JPY", "KWD"])
WEIGHTS = st.lists(st.integers(0, 10**6), min_size=1, max_size=20).filter(any)


def refusal(function, *args, **kwargs):
    with pytest.raises(MoneyRefusal) as caught:
        function(*args, **kwargs)
    return caught.value.faults[0]


@given(MONEY, LOCALES, CURRENCIES)
def test_money_is_read_back_as_it_was_written_for_a_locale(value, locale, currency):
    text = format_money_input(value, currency=currency, locale=locale)
    assert parse_money(text, locale=locale, allow_negative=True) == value


@given(MONEY, CURRENCIES)
def test_money_for_programs_is_exact_and_read_back(value, currency):
    text = amount_text(value, currency=currency)
    assert Decimal(text) == to_decimal(value)
    assert parse_money(text, allow_negative=True) == value


@given(MONEY)
def test_decimal_and_integer_agree(value):
    assert from_decimal(to_decimal(value)) == value


@given(st.text(max_size=60) | st.text("0123456789.,'- eE_\0$٣", max_size=45), LOCALES)
def test_hostile_text_is_read_or_refused_and_nothing_else(text, locale):
    try:
        value = parse_money(text, locale=locale)
    except MoneyRefusal:
        return
    assert 0 <= value <= MAX_MONEY


@pytest.mark.parametrize(
    ("text", "locale", "value"),
    [
        ("12.50", "en_US", 125_000),
        ("1,234.5000", "en_US", 12_345_000),
        (".5", "en_US", 5_000),
        ("-0", "en_US", 0),
        ("1.234,56", "de_DE", 12_345_600),
        ("1 234,50", "fr_FR", 12_345_000),
        ("1'234.50", "de_CH", 12_345_000),
        ("922337203685477.5807", "en_US", MAX_MONEY),
    ],
)
def test_money_is_read_by_locale(text, locale, value):
    assert parse_money(text, locale=locale) == value


@pytest.mark.parametrize(
    ("text", "locale", "code", "says"),
    [
        ("1,5", "en_US", "not-a-number", '"1.5"'),
        ("30.00", "de_DE", "not-a-number", '"3.000"'),
        ("12.50", "fr_FR", "not-a-number", '"12,50"'),
        ("1e5", "en_US", "not-a-number", "only the number"),
        ("NaN", "en_US", "not-a-number", "only the number"),
        ("Infinity", "en_US", "not-a-number", "only the number"),
        ("1_000", "en_US", "not-a-number", "only the number"),
        ("١٢", "en_US", "not-a-number", "only the number"),
        ("$5", "en_US", "not-a-number", "only the number"),
        ("--5", "en_US", "not-a-number", "only the number"),
        ("", "en_US", "not-a-number", "only the number"),
        (".", "en_US", "not-a-number", "amount of money"),
        ("1.2.3", "en_US", "not-a-number", "amount of money"),
        # Grouped where no locale groups, and longer than a decimal of 28 digits can be regrouped.
        ("1" * 30 + ",345", "en_US", "not-a-number", "amount of money"),
        ("1.23456", "en_US", "too-precise", "4 decimals"),
        ("922337203685477.5808", "en_US", "too-large", "more than"),
        ("-3", "en_US", "negative", "minus"),
        ("9" * 41, "en_US", "too-long", "40"),
        (5, "en_US", "not-text", "text"),
    ],
)
def test_what_could_be_misread_is_refused_with_the_reason(text, locale, code, says):
    fault = refusal(parse_money, text, locale=locale)
    assert fault.code == code
    assert says in fault.message


def test_a_negative_amount_is_read_where_it_may_be_one():
    assert parse_money("-3", allow_negative=True) == -3 * PER_UNIT
    assert parse_money("\N{MINUS SIGN}3", allow_negative=True) == -3 * PER_UNIT


def test_money_is_printed_by_locale_and_currency():
    assert format_money(12_345_000, currency="USD") == "$1,234.50"
    assert format_money(12_345_000, currency="EUR", locale="de_DE") == "1.234,50\xa0€"
    assert format_money(12_345, currency="USD", exact=True) == "$1.2345"
    assert format_money(12_000, currency="USD", exact=True) == "$1.20"
    assert format_money(12_345_000, currency="JPY") == "¥1,234"


def test_a_tie_is_printed_to_the_even_digit():
    assert format_money(50, currency="USD") == "$0.00"
    assert format_money(150, currency="USD") == "$0.02"


def test_digits_are_those_of_the_currency():
    assert [currency_digits(c) for c in ("USD", "JPY", "KWD")] == [2, 0, 3]
    assert refusal(currency_digits, "XQQ").code == "unknown-currency"


def test_decimals_round_half_even_and_stay_finite():
    assert from_decimal(Decimal("0.00005")) == 0
    assert from_decimal(Decimal("0.00015")) == 2
    assert refusal(from_decimal, Decimal("NaN")).code == "not-a-number"
    assert refusal(from_decimal, Decimal("1E+999999")).code == "too-large"
    with pytest.raises(TypeError):
        from_decimal(0.1)


@given(MONEY, WEIGHTS)
def test_a_split_conserves_the_total(total, weights):
    assert sum(split(total, weights)) == total


@given(MONEY, WEIGHTS)
def test_each_part_is_within_one_unit_of_its_exact_share(total, weights):
    whole = sum(weights)
    for part, weight in zip(split(total, weights), weights, strict=True):
        assert abs(part - Fraction(total * weight, whole)) < 1


@given(st.integers(0, MAX_MONEY), WEIGHTS)
def test_more_weight_never_gets_less(total, weights):
    by_weight = sorted(zip(weights, split(total, weights), strict=True))
    parts = [part for _, part in sorted(by_weight)]
    assert parts == sorted(parts)


@given(MONEY, WEIGHTS)
def test_a_negative_total_splits_like_the_positive_one(total, weights):
    assert split(-total, weights) == [-part for part in split(total, weights)]


def test_what_is_left_over_goes_to_the_largest_remainder_then_the_lower_index():
    assert split(100, [1, 1, 1]) == [34, 33, 33]
    assert split(10, [1, 2, 4]) == [1, 3, 6]
    assert split(7, [0, 1, 0]) == [0, 7, 0]


@pytest.mark.parametrize("weights", [[], [0, 0], [1, -1], [3, -1]])
def test_a_split_needs_weights(weights):
    assert refusal(split, 100, weights).code == "bad-weights"


@given(st.integers(0, 10**15), st.integers(1, 10**15), st.data())
def test_a_share_is_the_exact_one_rounded_and_never_more_than_the_cost(cost, whole, data):
    part = data.draw(st.integers(0, whole))
    taken = share(cost, part, whole)
    assert 0 <= taken <= cost
    assert abs(taken - Fraction(cost * part, whole)) <= Fraction(1, 2)


@given(st.integers(0, 10**15), st.lists(st.integers(1, 10**12), min_size=1, max_size=10))
def test_taking_a_lot_part_by_part_takes_exactly_its_cost(cost, parts):
    left, held, taken = cost, sum(parts), 0
    for part in parts:
        piece = share(left, part, held)
        left, held, taken = left - piece, held - part, taken + piece
    assert (left, held, taken) == (0, 0, cost)


@given(st.integers(0, 10**24) | st.integers(0, 50), st.integers(1, 10**16) | st.integers(1, 9))
def test_a_quotient_is_the_fraction_rounded_half_to_even(amount, divisor):
    assert quotient(amount, divisor) == round(Fraction(amount, divisor))


def test_a_share_rounds_half_to_even():
    assert [share(10, 1, 4), share(10, 3, 4)] == [2, 8]


@pytest.mark.parametrize(("part", "whole"), [(1, 0), (0, 0), (-1, 5), (6, 5)])
def test_a_share_is_of_a_part_of_the_lot(part, whole):
    assert refusal(share, 100, part, whole).code == "bad-share"
