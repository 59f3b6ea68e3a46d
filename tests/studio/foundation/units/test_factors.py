"""Every factor against pint, and the trade's units against published exact values."""

from decimal import Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.foundation.units.by_pint import BASES, PINT_NAMES, differing, pint_registry
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.quantity import Quantity
from studio.foundation.units.registry import UNITS, Dimension

PINT = pint_registry()


def test_every_allowed_unit_is_compared_with_pint():
    assert set(PINT_NAMES) == set(UNITS)
    assert differing() == []


@given(st.sampled_from(sorted(UNITS)), st.integers(0, 10**6))
def test_a_unit_converts_as_pint_does(symbol, hundredths):
    unit = UNITS[symbol]
    amount = Decimal(hundredths) / 100
    with localcontext() as context:
        context.prec = 60
        theirs = PINT.Quantity(amount, PINT_NAMES[symbol]).to(BASES[unit.dimension]).magnitude
    ours = Quantity(Fraction(amount), unit).base
    # pint divides in decimals of 28 digits when it is built, so it is off by the last of them
    assert abs(ours - Fraction(theirs)) <= max(1, abs(ours)) / 10**20


# Publication, section, unit, per base unit of mL or g, half of the last printed digit.
PUBLISHED = [
    ("NIST Handbook 44 (2014), Appendix C, units of mass", "lb", "453.59237", "0"),
    ("NIST Handbook 44 (2014), Appendix C, units of mass", "oz", "28.349523125", "0"),
    ("NIST Handbook 44 (2014), Appendix C, units of liquid volume", "gal", "3785.411784", "0"),
    ("NIST Handbook 44 (2014), Appendix C, units of liquid volume", "fl oz", "29.57353", "5e-6"),
    ("NIST Handbook 44 (2014), Appendix C, units of liquid volume", "pt", "473.1765", "5e-5"),
    ("NIST Handbook 44 (2014), Appendix C, units of liquid volume", "qt", "946.3529", "5e-5"),
    ("NIST SP 811 (2008), Appendix B.8", "cup", "236.5882", "5e-5"),
    ("NIST SP 811 (2008), Appendix B.8", "tbsp", "14.78676", "5e-6"),
    ("NIST SP 811 (2008), Appendix B.8", "tsp", "4.928922", "5e-7"),
    ("NIST SP 811 (2008), Appendix B.8", "fl oz", "29.57353", "5e-6"),
    ("NIST SP 811 (2008), Appendix B.8", "gal", "3785.412", "5e-4"),
    ("NIST SP 811 (2008), Appendix B.8", "oz", "28.34952", "5e-6"),
    ("NIST SP 811 (2008), Appendix B.8", "lb", "453.5924", "5e-5"),
]


@pytest.mark.parametrize(("source", "symbol", "printed", "tolerance"), PUBLISHED)
def test_mass_and_volume_factors_are_the_published_ones(source, symbol, printed, tolerance):
    unit = UNITS[symbol]
    per = UNITS["g" if unit.dimension is Dimension.MASS else "mL"].factor
    assert abs(unit.factor / per - Fraction(printed)) <= Fraction(tolerance), source


def test_gallon_and_inch_are_exact_by_definition():
    """NIST Handbook 44 (2014), Appendix C: 1 in = 2.54 cm, 1 gal = 231 cubic inches, exactly."""
    assert UNITS["in"].factor == Fraction("2.54") * UNITS["cm"].factor
    assert UNITS["gal"].factor == 231 * Fraction("2.54") ** 3 * UNITS["mL"].factor


def test_kitchen_measures_are_parts_of_a_fluid_ounce():
    """NIST SP 1038 (2006), note 19: cup 8, tablespoon 1/2, teaspoon 1/6 fl oz; 16 and 3."""
    fl_oz = UNITS["fl oz"].factor
    assert UNITS["cup"].factor == 8 * fl_oz == 16 * UNITS["tbsp"].factor
    assert UNITS["tbsp"].factor == fl_oz / 2 == 3 * UNITS["tsp"].factor
    assert UNITS["tsp"].factor == fl_oz / 6 == Fraction("4.92892159375") * UNITS["mL"].factor


def test_us_measures_nest_and_weights_add_up():
    """OpenStax, Prealgebra 2e, 7.5: 128 fl oz, 16 cups a gallon; 48 tsp a cup; 3 lb 6 oz."""
    assert UNITS["gal"].factor == 128 * UNITS["fl oz"].factor == 16 * UNITS["cup"].factor
    assert UNITS["cup"].factor == 48 * UNITS["tsp"].factor
    weights = [parse_quantity(text).base for text in ("14 oz", "1 lb 2 oz", "1 lb 6 oz")]
    assert sum(weights) == parse_quantity("3 lb 6 oz").base


def test_a_drop_is_a_twentieth_of_a_milliliter():
    """Common practice, no source."""
    assert 20 * UNITS["drop"].factor == UNITS["mL"].factor


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [("32", "0"), ("212", "100"), ("-40", "-40"), ("-459.67", "-273.15")]
)
def test_fixed_points_of_the_temperature_scales(fahrenheit, celsius):
    """NIST SP 811 (2008), B.8: t/degC = (t/degF - 32)/1.8 (from memory)."""
    assert parse_quantity(f"{fahrenheit} degF").base == Fraction(celsius)
