"""pint's word on the allowed units, by the names that pint has for them."""

from collections.abc import Mapping
from decimal import Decimal, localcontext
from fractions import Fraction
from functools import cache

import pint

from studio.foundation.units.registry import UNITS, Dimension, Unit

PINT_NAMES: Mapping[str, str] = {
    "kg": "kilogram", "g": "gram", "mg": "milligram", "lb": "pound", "oz": "ounce",
    "L": "liter", "mL": "milliliter", "fl oz": "US_fluid_ounce", "gal": "US_liquid_gallon",
    "qt": "US_liquid_quart", "pt": "US_pint", "cup": "US_liquid_cup", "tbsp": "tablespoon",
    "tsp": "teaspoon", "drop": "studio_drop", "each": "studio_each", "dozen": "studio_dozen",
    "in": "inch", "cm": "centimeter", "mm": "millimeter", "m": "meter",
    "degC": "degree_Celsius", "degF": "degree_Fahrenheit",
}  # fmt: skip
BASES: Mapping[Dimension, str] = {
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


@cache
def pint_registry() -> "pint.UnitRegistry[Decimal]":
    """A pint registry over Decimal with the units that are the trade's own added."""
    registry: pint.UnitRegistry[Decimal] = pint.UnitRegistry(non_int_type=Decimal)
    for definition in _OWN_DEFINITIONS:
        registry.define(definition)
    return registry


def differing() -> list[Unit]:
    """The allowed units whose factor or zero pint does not confirm."""
    with localcontext() as context:
        context.prec = 60
        registry = pint_registry()

        def measured(amount: int, unit: Unit) -> Fraction:
            quantity = registry.Quantity(Decimal(amount), PINT_NAMES[unit.symbol])
            return _fraction(quantity.to(BASES[unit.dimension]).magnitude)

        return [
            unit
            for unit in UNITS.values()
            if measured(0, unit) != unit.offset or measured(1, unit) != unit.offset + unit.factor
        ]


def _fraction(measured: object) -> Fraction:
    """The exact rational behind a Decimal that pint computed with 60 digits.

    In base units each factor used here has a small denominator (32 for the teaspoon, 9 for degF),
    so the nearest fraction with a denominator up to 10**9 is the exact one.
    """
    return Fraction(str(measured)).limit_denominator(10**9)
