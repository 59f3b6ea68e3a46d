"""The allowed units, their exact factors and their spellings.

That the factors are pint's own is seen to by `manage.py check --deploy` and by the tests: building
pint's registry takes a third of a second, which no process that starts should pay for.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

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


# NIST Handbook 44 (2014), Appendix C: 1 lb = 453.59237 g, 1 gal = 231 in3, 1 in = 2.54 cm, exactly.
_POUND = Fraction(453_592_370_000)
_GALLON = Fraction(3_785_411_784)
# symbol, name, how many base units it holds. US customary measures, as labels and recipes use them.
_DEFINED: Mapping[Dimension, tuple[tuple[str, str, Fraction], ...]] = {
    Dimension.MASS: (
        ("kg", "kilogram", Fraction(1000 * NG_PER_G)),
        ("g", "gram", Fraction(NG_PER_G)),
        ("mg", "milligram", Fraction(NG_PER_G, 1000)),
        ("lb", "pound", _POUND),
        ("oz", "ounce", _POUND / 16),
    ),
    Dimension.VOLUME: (
        ("L", "liter", Fraction(1000 * NL_PER_ML)),
        ("mL", "milliliter", Fraction(NL_PER_ML)),
        ("fl oz", "US fluid ounce", _GALLON / 128),
        ("gal", "US gallon", _GALLON),
        ("qt", "US quart", _GALLON / 4),
        ("pt", "US pint", _GALLON / 8),
        ("cup", "US cup", _GALLON / 16),
        ("tbsp", "US tablespoon", _GALLON / 256),
        ("tsp", "US teaspoon", _GALLON / 768),
        ("drop", "drop", Fraction(NL_PER_ML, 20)),  # common practice, no source
    ),
    Dimension.COUNT: (("each", "piece", Fraction(1)), ("dozen", "dozen", Fraction(12))),
    Dimension.LENGTH: (
        ("in", "inch", NM_PER_MM * Fraction("25.4")),
        ("cm", "centimeter", Fraction(10 * NM_PER_MM)),
        ("mm", "millimeter", Fraction(NM_PER_MM)),
        ("m", "meter", Fraction(1000 * NM_PER_MM)),
    ),
    Dimension.TEMPERATURE: (
        ("degC", "degree Celsius", Fraction(1)),
        ("degF", "degree Fahrenheit", Fraction(5, 9)),
    ),
}
# What zero of a scale is in degrees Celsius.
_OFFSETS = {"degF": Fraction(-32 * 5, 9)}

UNITS: Mapping[str, Unit] = MappingProxyType({
    symbol: Unit(symbol, name, dimension, factor, _OFFSETS.get(symbol, Fraction(0)))
    for dimension, rows in _DEFINED.items()
    for symbol, name, factor in rows
})  # fmt: skip

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
