"""From quantities to stored integers and back to text."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.foundation.units.conversion import (
    length_nm,
    mass_ng,
    pieces,
    round_half_even,
    stock_amount,
    temperature_c,
    volume_nl,
)
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.quantity import Quantity, UnitRefusal
from studio.foundation.units.registry import (
    MAX_BASE,
    NG_PER_G,
    NL_PER_ML,
    NM_PER_MM,
    UNITS,
    Dimension,
)
from studio.foundation.units.writing import format_amount, friendly_mass, friendly_volume

AMOUNTS = st.fractions(0, 10_000, max_denominator=10**6)
STORED = {
    Dimension.MASS: mass_ng,
    Dimension.VOLUME: volume_nl,
    Dimension.LENGTH: length_nm,
    Dimension.COUNT: pieces,
}
ROUNDED = [u for u in UNITS.values() if u.dimension in STORED and u.dimension != Dimension.COUNT]


def refusal_code(function, *args, **kwargs):
    with pytest.raises(UnitRefusal) as caught:
        function(*args, **kwargs)
    return caught.value.faults[0].code


@given(AMOUNTS, st.sampled_from(ROUNDED))
def test_storing_rounds_once_to_the_nearest_base_unit(amount, unit):
    quantity = Quantity(amount, unit)
    assert abs(STORED[unit.dimension](quantity) - quantity.base) <= Fraction(1, 2)


@given(st.integers(-(10**12), 10**12))
def test_a_tie_goes_to_the_even_integer(number):
    assert round_half_even(Fraction(2 * number + 1, 2)) % 2 == 0
    assert round_half_even(Fraction(number)) == number


@given(AMOUNTS, st.decimals("0.5", "2", places=6))
def test_a_volume_weighs_its_density_in_grams_a_milliliter(milliliters, density):
    exact = milliliters * Fraction(density) * NG_PER_G
    weighed = mass_ng(Quantity(milliliters, UNITS["mL"]), density_g_ml=density)
    assert abs(weighed - exact) <= Fraction(1, 2)


def test_a_gallon_of_oil_weighs_through_its_density():
    assert mass_ng(parse_quantity("1 gal"), density_g_ml=Decimal("0.92")) == 3_482_578_841_280
    assert mass_ng(parse_quantity("1 lb"), density_g_ml=Decimal("0.92")) == 453_592_370_000


@pytest.mark.parametrize("density", ["0", "-1", "NaN", "Infinity", "26"])
def test_an_impossible_density_is_refused(density):
    quantity = parse_quantity("1 L")
    assert refusal_code(mass_ng, quantity, density_g_ml=Decimal(density)) == "bad-density"


def test_a_density_must_be_exact():
    with pytest.raises(TypeError):
        mass_ng(parse_quantity("1 L"), density_g_ml=0.92)


def test_a_volume_without_density_and_other_dimensions_are_refused():
    assert refusal_code(mass_ng, parse_quantity("1 L")) == "no-density"
    for function, text in [
        (mass_ng, "1 each"), (volume_nl, "1 kg"), (length_nm, "1 kg"),
        (pieces, "1 kg"), (temperature_c, "1 kg"),
    ]:  # fmt: skip
        assert refusal_code(function, parse_quantity(text)) == "wrong-dimension"


def test_a_mass_beyond_the_column_is_refused():
    most = parse_quantity("9223372036 L")
    assert refusal_code(mass_ng, most, density_g_ml=Decimal("1.5")) == "too-large"


def test_pieces_are_whole():
    assert pieces(parse_quantity("2 1/2 dozen")) == 30
    assert refusal_code(pieces, parse_quantity("1/2 each")) == "not-whole"


def test_stock_is_pieces_or_nanograms():
    assert stock_amount(parse_quantity("1 dozen"), counted=True) == 12
    assert stock_amount(parse_quantity("2 g"), counted=False) == 2 * NG_PER_G
    liter = parse_quantity("1 L")
    assert stock_amount(liter, counted=False, density_g_ml=Decimal("0.9")) == 900 * NG_PER_G
    assert refusal_code(stock_amount, liter, counted=True) == "wrong-dimension"
    assert refusal_code(stock_amount, parse_quantity("3 each"), counted=False) == "wrong-dimension"


def test_temperatures_are_celsius_to_a_thousandth():
    assert temperature_c(parse_quantity("100 degF")) == Decimal("37.778")
    assert temperature_c(parse_quantity("-0.5 degC")) == Decimal("-0.5")


@given(st.integers(0, MAX_BASE), st.sampled_from(ROUNDED))
def test_a_stored_integer_is_read_back_from_its_text_in_any_unit(base, unit):
    text = f"{format_amount(base, unit.symbol)} {unit.symbol}"
    # rounding the text of the largest integers can pass the limit by less than one
    if base < MAX_BASE - 1:
        assert STORED[unit.dimension](parse_quantity(text)) == base


@given(st.integers(-MAX_BASE, MAX_BASE), st.sampled_from(["kg", "g", "mg", "L", "mL", "mm"]))
def test_metric_text_is_exact(base, symbol):
    assert Fraction(format_amount(base, symbol)) * UNITS[symbol].factor == base


def test_amounts_are_written_plainly():
    assert format_amount(1_250 * NG_PER_G, "g") == "1250"
    assert format_amount(1_250 * NG_PER_G, "kg") == "1.25"
    assert format_amount(-5, "g") == "-0.000000005"
    assert format_amount(0, "lb") == "0"
    assert format_amount(250 * NL_PER_ML, "mL") == "250"
    assert format_amount(25 * NM_PER_MM, "cm") == "2.5"
    assert format_amount(18, "dozen") == "1.5"


def test_what_has_no_exact_text_is_refused():
    assert refusal_code(format_amount, 7, "dozen") == "not-exact"
    assert refusal_code(format_amount, 7, "degC") == "wrong-dimension"


@pytest.mark.parametrize(
    ("text", "metric", "us"),
    [
        ("1 lb 4 oz", "567 g", "1.25 lb"),
        ("8 oz", "226.8 g", "8 oz"),
        ("1.2345 kg", "1.234 kg", "2.72 lb"),
        ("10 mg", "10 mg", "0 oz"),
        ("999.96 g", "1000 g", "2.2 lb"),
        ("0 g", "0 g", "0 oz"),
    ],
)
def test_people_read_short_masses(text, metric, us):
    ng = mass_ng(parse_quantity(text))
    assert friendly_mass(ng) == metric
    assert friendly_mass(ng, system="us") == us


def test_people_choose_the_decimals():
    assert friendly_mass(567_890 * NG_PER_G // 1000, places=0) == "568 g"
    assert friendly_mass(-567 * NG_PER_G) == "-567 g"
    assert friendly_volume(250 * NL_PER_ML) == "250 mL"
    assert friendly_volume(250 * NL_PER_ML, system="us") == "8.45 fl oz"


@given(st.integers(0, MAX_BASE // 2), st.sampled_from(["metric", "us"]))
def test_short_text_is_a_quantity_close_to_the_mass(ng, system):
    shown = parse_quantity(friendly_mass(ng, system=system))
    places = {"kg": 3, "g": 1, "mg": 1, "lb": 2, "oz": 2}[shown.unit.symbol]
    assert abs(shown.base - ng) <= shown.unit.factor / 10**places / 2
