"""The allowed units, their spellings, and their exact factors taken once from pint."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, localcontext
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

import pint

NG_PER_G = 10**9
NL_PER_ML = 10**6
NM_PER_MM = 10**6
# Every base amount is kept in a signed 64-bit column.
MAX_BASE = 2**63 - 1


class Dimension(StrEnum):
    """What a quantity measures."""

    MASS = "mass"
    VOLUME = "volume"
    COUNT = "count"
    TEMPERATURE = "temperature"
    LENGTH = "length"


@dataclass(frozen=True, slots=True)
class Unit:
    """One allowed unit.

    `factor` is how many base units (ng, nL, piece, nm; degrees Celsius for temperature) one of it
    holds, exactly. `offset` is zero except for degF: what zero of the unit is in degrees Celsius.
    """

    symbol: str
    name: str
    dimension: Dimension
    factor: Fraction
    offset: Fraction = Fraction(0)


# symbol, name, the name pint knows it by. US customary measures, as labels and recipes use them.
_DEFINED: Mapping[Dimension, tuple[tuple[str, str, str], ...]] = {
    Dimension.MASS: (
        ("kg", "kilogram", "kilogram"),
        ("g", "gram", "gram"),
        ("mg", "milligram", "milligram"),
        ("lb", "pound", "pound"),
        ("oz", "ounce", "ounce"),
    ),
    Dimension.VOLUME: (
        ("L", "liter", "liter"),
        ("mL", "milliliter", "milliliter"),
        ("fl oz", "US fluid ounce", "US_fluid_ounce"),
        ("gal", "US gallon", "US_liquid_gallon"),
        ("qt", "US quart", "US_liquid_quart"),
        ("pt", "US pint", "US_pint"),
        ("cup", "US cup", "US_liquid_cup"),
        ("tbsp", "US tablespoon", "tablespoon"),
        ("tsp", "US teaspoon", "teaspoon"),
        ("drop", "drop", "studio_drop"),
    ),
    Dimension.COUNT: (("each", "piece", "studio_each"), ("dozen", "dozen", "studio_dozen")),
    Dimension.LENGTH: (
        ("in", "inch", "inch"),
        ("cm", "centimeter", "centimeter"),
        ("mm", "millimeter", "millimeter"),
        ("m", "meter", "meter"),
    ),
    Dimension.TEMPERATURE: (
        ("degC", "degree Celsius", "degree_Celsius"),
        ("degF", "degree Fahrenheit", "degree_Fahrenheit"),
    ),
}
_BASE_IN_PINT: Mapping[Dimension, str] = {
    Dimension.MASS: "nanogram",
    Dimension.VOLUME: "nanoliter",
    Dimension.COUNT: "studio_each",
    Dimension.LENGTH: "nanometer",
    Dimension.TEMPERATURE: "degree_Celsius",
}
_OWN_DEFINITIONS = (
    "studio_each = [studio_count]",
    "studio_dozen = 12 * studio_each",
    "studio_drop = 0.05 * milliliter",  # 20 drops a milliliter: common practice, no source
)


def pint_registry() -> "pint.UnitRegistry[Decimal]":
    """A pint registry over Decimal with the units that are the trade's own added."""
    registry: pint.UnitRegistry[Decimal] = pint.UnitRegistry(non_int_type=Decimal)
    for definition in _OWN_DEFINITIONS:
        registry.define(definition)
    return registry


def _fraction(measured: object) -> Fraction:
    """The exact rational behind a Decimal that pint computed with 60 digits.

    In base units each factor used here has a small denominator (32 for the teaspoon, 9 for degF),
    so the nearest fraction with a denominator up to 10**9 is the exact one.
    """
    return Fraction(str(measured)).limit_denominator(10**9)


def _from_pint() -> dict[str, Unit]:
    units: dict[str, Unit] = {}
    with localcontext() as context:
        context.prec = 60
        registry = pint_registry()
        for dimension, rows in _DEFINED.items():
            base = _BASE_IN_PINT[dimension]
            for symbol, name, pint_name in rows:
                zero = registry.Quantity(Decimal(0), pint_name).to(base).magnitude
                one = registry.Quantity(Decimal(1), pint_name).to(base).magnitude
                units[symbol] = Unit(
                    symbol, name, dimension, _fraction(one - zero), _fraction(zero)
                )
    return units


UNITS: Mapping[str, Unit] = MappingProxyType(_from_pint())

# Spellings read in any case: words, and US symbols, which invoices often print in capitals.
_ANY_CASE: dict[str, str] = {
    "kilogram": "kg", "kilograms": "kg", "kilo": "kg", "kilos": "kg",
    "gram": "g", "grams": "g", "milligram": "mg", "milligrams": "mg",
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb",
    "oz": "oz", "ounce": "oz", "ounces": "oz",
    "liter": "L", "liters": "L", "litre": "L", "litres": "L",
    "milliliter": "mL", "milliliters": "mL", "millilitre": "mL", "millilitres": "mL",
    "fl oz": "fl oz", "floz": "fl oz", "fluid ounce": "fl oz", "fluid ounces": "fl oz",
    "gal": "gal", "gals": "gal", "gallon": "gal", "gallons": "gal",
    "qt": "qt", "qts": "qt", "quart": "qt", "quarts": "qt",
    "pt": "pt", "pts": "pt", "pint": "pt", "pints": "pt",
    "cup": "cup", "cups": "cup",
    "tbsp": "tbsp", "tbsps": "tbsp", "tablespoon": "tbsp", "tablespoons": "tbsp",
    "tsp": "tsp", "tsps": "tsp", "teaspoon": "tsp", "teaspoons": "tsp",
    "drop": "drop", "drops": "drop",
    "each": "each", "ea": "each", "pc": "each", "pcs": "each", "piece": "each", "pieces": "each",
    "dozen": "dozen", "dozens": "dozen", "doz": "dozen", "dz": "dozen",
    "in": "in", "inch": "in", "inches": "in", '"': "in",
    "centimeter": "cm", "centimeters": "cm", "millimeter": "mm", "millimeters": "mm",
    "meter": "m", "meters": "m",
    "degc": "degC", "deg c": "degC", "celsius": "degC",
    "degf": "degF", "deg f": "degF", "fahrenheit": "degF",
}  # fmt: skip
# Metric symbols mean what their capitals say, so only these spellings of them are read.
_EXACT: dict[str, str] = {
    "kg": "kg", "Kg": "kg", "KG": "kg", "g": "g", "mg": "mg",
    "L": "L", "l": "L", "mL": "mL", "ml": "mL",
    "cm": "cm", "mm": "mm", "m": "m", "C": "degC", "F": "degF",
}  # fmt: skip
# Spellings that people use for two different things: refused, with the choice to make.
AMBIGUOUS: Mapping[str, str] = MappingProxyType({
    "ML": '"ML" reads as megaliters. Write mL for milliliters or L for liters.',
    "Ml": '"Ml" reads as megaliters. Write mL for milliliters or L for liters.',
    "MG": '"MG" reads as megagrams (tonnes). Write mg for milligrams or kg for kilograms.',
    "Mg": '"Mg" reads as megagrams (tonnes). Write mg for milligrams or kg for kilograms.',
    "G": '"G" can be grams or gallons. Write g for grams or gal for gallons.',
    "gr": '"gr" is the grain, 65 mg. Write g for grams.',
    "MM": '"MM" reads as megameters. Write mm for millimeters.',
    "Mm": '"Mm" reads as megameters. Write mm for millimeters.',
    "T": '"T" can be a tablespoon or a tonne. Write tbsp for tablespoons or kg for kilograms.',
    "t": '"t" can be a teaspoon or a tonne. Write tsp for teaspoons or kg for kilograms.',
    "c": '"c" can be cups or degrees Celsius. Write cup or degC.',
})  # fmt: skip

_BY_SPELLING: Mapping[str, Unit] = {
    spelling: UNITS[symbol] for spelling, symbol in (_ANY_CASE | _EXACT).items()
} | dict(UNITS)
_BY_LOWER_SPELLING: Mapping[str, Unit] = {
    spelling: UNITS[symbol] for spelling, symbol in _ANY_CASE.items()
}
SPELLINGS: Mapping[str, Unit] = MappingProxyType(dict(_BY_SPELLING))


def find_unit(spelling: str) -> Unit | None:
    """The unit a spelling stands for, or None. Periods ("fl. oz.") and extra spaces are ignored.

    Words and US symbols are read in any case; metric symbols only as listed.
    """
    unit = _BY_SPELLING.get(spelling)
    if unit is None:
        bare = " ".join(spelling.replace(".", " ").split())
        unit = _BY_SPELLING.get(bare) or _BY_LOWER_SPELLING.get(bare.lower())
    return unit
