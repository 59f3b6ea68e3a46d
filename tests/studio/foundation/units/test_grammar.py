"""What the quantity grammar reads, and that nothing else gets past it."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.foundation.units.grammar import MAX_TEXT, parse_quantity, quantity_from
from studio.foundation.units.quantity import Quantity, UnitRefusal
from studio.foundation.units.registry import (
    AMBIGUOUS,
    MAX_BASE,
    SPELLINGS,
    UNITS,
    Dimension,
    find_unit,
)

MASS, VOLUME, COUNT = Dimension.MASS, Dimension.VOLUME, Dimension.COUNT
STOCK_UNITS = [u for u in UNITS.values() if u.dimension is not Dimension.TEMPERATURE]
ALMOST = st.text(alphabet='0123456789 ./-+eE,lbozkgfmLtspcudn"%*()^_x\0\t', max_size=MAX_TEXT + 2)


def refused(text, *dimensions):
    with pytest.raises(UnitRefusal) as caught:
        parse_quantity(text, *dimensions)
    (fault,) = caught.value.faults
    return fault


@given(st.integers(0, 10**18), st.integers(0, 12), st.sampled_from(list(UNITS.values())))
def test_a_decimal_quantity_is_read_back_from_its_own_text(digits, places, unit):
    quantity = Quantity(Fraction(digits, 10**places), unit)
    if quantity.base <= MAX_BASE:
        assert parse_quantity(str(quantity)) == quantity


@given(
    st.fractions(0, 1000, max_denominator=10**6),
    st.sampled_from(list(UNITS.values())),
)
def test_any_fraction_is_read_back_from_its_own_text(amount, unit):
    quantity = Quantity(amount, unit)
    assert parse_quantity(str(quantity), unit.dimension) == quantity


@given(st.fractions(-273, 1000, max_denominator=10**4))
def test_a_temperature_may_be_negative_and_is_read_back(amount):
    quantity = Quantity(amount, UNITS["degC"])
    assert parse_quantity(str(quantity), Dimension.TEMPERATURE) == quantity


@given(st.integers(0, 999), st.integers(0, 15), st.integers(1, 16))
def test_a_mixed_number_is_its_whole_plus_its_fraction(whole, above, below):
    text = f"{whole} {above}/{below} tsp"
    if above < below:
        assert parse_quantity(text, VOLUME).amount == whole + Fraction(above, below)
    else:
        assert refused(text, VOLUME).code == "bad-number"


@given(
    st.sets(st.sampled_from(STOCK_UNITS), min_size=2, max_size=4),
    st.lists(st.integers(0, 99), min_size=4, max_size=4),
    st.permutations(range(4)),
)
def test_only_descending_units_of_one_dimension_add_up(units, amounts, order):
    chosen = [u for _, u in sorted(zip(order, sorted(units, key=str), strict=False), key=str)]
    text = " ".join(f"{a} {u.symbol}" for a, u in zip(amounts, chosen, strict=False))
    factors = [u.factor for u in chosen]
    one_dimension = len({u.dimension for u in chosen}) == 1
    if one_dimension and factors == sorted(factors, reverse=True):
        total = sum(a * f for a, f in zip(amounts, factors, strict=False))
        assert parse_quantity(text).base == total
        assert parse_quantity(text).unit == chosen[0]
    else:
        assert refused(text).code in {"unit-order", "mixed-dimensions"}


@given(st.text(max_size=200) | ALMOST | st.binary(max_size=80).map(lambda b: b.decode("latin-1")))
def test_hostile_text_is_read_or_refused_and_nothing_else(text):
    try:
        quantity = parse_quantity(text)
    except UnitRefusal as refusal:
        assert all(fault.message and fault.code for fault in refusal.faults)
    else:
        assert len(text) <= MAX_TEXT
        assert abs(quantity.base) <= MAX_BASE


@given(st.sampled_from("0123456789./ -9e"), st.integers(1, 100_000))
def test_a_long_run_of_one_sign_is_refused_at_once(sign, length):
    assert refused(sign * length + "kg", VOLUME, COUNT).code


@given(st.sampled_from(STOCK_UNITS), st.integers(1, 10**6))
def test_the_largest_amount_is_read_and_any_more_is_refused(unit, beyond):
    largest = int(MAX_BASE / unit.factor)
    assert parse_quantity(f"{largest} {unit.symbol}").base <= MAX_BASE
    assert refused(f"{largest + beyond} {unit.symbol}").code == "too-large"


@pytest.mark.parametrize(
    ("text", "amount", "symbol"),
    [
        ("1 lb 4 oz", "1.25", "lb"),
        ("1lb4oz", "1.25", "lb"),
        ("2 1/2 tsp", "2.5", "tsp"),
        ("1.25 kg", "1.25", "kg"),
        ("  .5 lbs.\n", "0.5", "lb"),
        ("1 fl. oz.", "1", "fl oz"),
        ("16 FL OZ", "16", "fl oz"),
        ("3 1/2 Gallons", "3.5", "gal"),
        ("500 ml", "500", "mL"),
        ("25 KG", "25", "kg"),
        ('3 1/2"', "3.5", "in"),
        ("12 pcs", "12", "each"),
        ("1/2 dozen", "0.5", "dozen"),
        ("1 gal 2 qt 1 pt", "1.625", "gal"),
        ("-40 F", "-40", "degF"),
    ],
)
def test_what_makers_write_is_read(text, amount, symbol):
    assert parse_quantity(text) == Quantity(Fraction(amount), UNITS[symbol])


@pytest.mark.parametrize(
    ("text", "code", "says"),
    [
        ("3,5 kg", "comma", "write 3.5"),
        ("1,5 kg", "comma", "write 1.5"),
        ("1,000 g", "comma", "1000 if it parts the thousands"),
        ("1 lb, 4 oz", "comma", "leave it out"),
        ("500 ML", "ambiguous-unit", "mL for milliliters"),
        ("-1 kg", "negative", "minus"),
        ("+1 kg", "bad-number", "+"),
        ("-", "bad-number", "Begin with a number"),
        ("1 lb -4 oz", "bad-number", "minus"),
        ("1e9 kg", "bad-number", "1000 for 1e3"),
        ("1e+9 kg", "bad-number", "1000 for 1e3"),
        ("1/0 kg", "bad-number", "zero"),
        ("1/2/3 kg", "bad-number", "whole numbers"),
        ("1/2.5 kg", "bad-number", "whole numbers"),
        ("5. lb", "bad-number", "point"),
        ("1.2.3 kg", "bad-number", "unit after each number"),
        ("2 1 kg", "bad-number", "unit after each number"),
        ("2**9 kg", "bad-number", "only numbers and units"),
        ("kg", "bad-number", "Begin with a number"),
        ("0x10", "unknown-unit", '"x"'),
        ("4 oz 1 lb", "unit-order", "larger unit first"),
        ("1 lb 1 lb", "unit-order", "each unit once"),
        ("1.5 lb 4 oz", "unit-order", "whole lb"),
        ("20 degC 5 degC", "unit-order", "one number"),
        ("1 lb 4 mL", "mixed-dimensions", "cannot be added"),
        ("5 kilogrms", "unknown-unit", "Did you mean kg?"),
        ("5 stone", "unknown-unit", "kg, g, mg, lb, oz"),
        ("1.1234567890123 kg", "too-precise", "12 decimals"),
        ("-274 degC", "too-cold", "-273.15"),
        ("1 kg\0", "not-ascii", "plain"),
        ("½ kg", "not-ascii", "1/2"),
        ("20 °C", "not-ascii", "degC"),
        ("١ kg", "not-ascii", "plain"),
        ("1 kg" + " " * MAX_TEXT, "too-long", str(MAX_TEXT)),
        (" ", "empty", "1.25 kg"),
        ("12", "no-unit", "unit"),
    ],
)
def test_what_could_be_misread_is_refused_with_what_to_write(text, code, says):
    fault = refused(text)
    assert fault.code == code
    assert says in fault.message


@pytest.mark.parametrize("value", [None, 1, 1.5, b"1 kg", ["1 kg"]])
def test_only_text_is_read(value):
    assert refused(value).code == "not-text"


def test_a_bare_number_counts_pieces_only_where_nothing_else_is_asked_for():
    assert parse_quantity("12", COUNT) == Quantity(Fraction(12), UNITS["each"])
    assert refused("12", COUNT, MASS).code == "no-unit"
    assert refused("12 3", COUNT).code == "bad-number"


def test_another_dimension_is_refused_naming_the_allowed_units():
    fault = refused("8 oz", VOLUME)
    assert fault.code == "wrong-dimension"
    assert "write fl oz" in fault.message
    assert fault.details["allowed"][0] == "L"
    assert "write oz" in refused("8 fl oz", MASS).message


def test_ambiguous_spellings_are_never_units():
    assert all(find_unit(spelling) is None for spelling in AMBIGUOUS)


@given(st.sampled_from([s for s in SPELLINGS if len(s) > 2]), st.sampled_from("lut"))
def test_words_are_read_in_any_case(spelling, case):
    if SPELLINGS[spelling].dimension is not Dimension.TEMPERATURE:
        changed = {"l": spelling.lower(), "u": spelling.upper(), "t": spelling.title()}[case]
        assert find_unit(changed) == SPELLINGS[spelling]


@given(st.integers(0, 10**6), st.sampled_from(STOCK_UNITS))
def test_amount_and_unit_given_apart_read_like_text(amount, unit):
    expected = parse_quantity(f"{amount} {unit.symbol}")
    assert quantity_from(amount, unit.symbol) == expected
    assert quantity_from(str(amount), unit.symbol) == expected


@pytest.mark.parametrize(
    ("amount", "unit", "code"),
    [
        (1.5, "kg", "not-exact"),
        (True, "kg", "not-exact"),
        (None, "kg", "not-exact"),
        ("1 lb 4", "oz", "bad-number"),
        ("1", "lb 4 oz", "unknown-unit"),
        ("1,5", "kg", "comma"),
        ("", "kg", "bad-number"),
        ("1", "", "no-unit"),
        ("1", None, "no-unit"),
        pytest.param(10**5000, "kg", "too-large", id="5001 digits"),
        (-1, "kg", "negative"),
    ],
)
def test_amount_and_unit_hold_one_number_and_one_unit(amount, unit, code):
    with pytest.raises(UnitRefusal) as caught:
        quantity_from(amount, unit)
    assert caught.value.faults[0].code == code
