"""Quantities with units: read from text, kept as exact fractions, stored as integers.

Stock is stored in base units that make every trade unit exact or nearly so: nanograms for mass
(a pound is 453 592 370 000 ng), nanoliters for volume, nanometers for length, pieces for what is
how_many. Temperatures are decimal degrees Celsius.

The one rounding rule: a quantity is an exact fraction until it is stored; then it is rounded once,
half to even, to the nanogram, nanoliter or nanometer. Pieces are never rounded.

This package is the only importer of pint, which gives the factors. Text never reaches pint's own
parser: `parse_quantity` reads a small closed grammar.
"""

from studio.units.conversion import (
    DENSEST_G_ML,
    length_nm,
    mass_ng,
    pieces,
    round_half_even,
    stock_amount,
    temperature_c,
    volume_nl,
)
from studio.units.grammar import MAX_TEXT, parse_quantity
from studio.units.pairs import quantity_from
from studio.units.quantity import MAX_DECIMALS, Quantity, UnitRefusal
from studio.units.registry import (
    MAX_BASE,
    NG_PER_G,
    NL_PER_ML,
    NM_PER_MM,
    UNITS,
    Dimension,
    Unit,
    find_unit,
)
from studio.units.writing import (
    format_amount,
    friendly_mass,
    friendly_volume,
    grams,
    how_many,
    percent,
)

__all__ = [
    "DENSEST_G_ML",
    "MAX_BASE",
    "MAX_DECIMALS",
    "MAX_TEXT",
    "NG_PER_G",
    "NL_PER_ML",
    "NM_PER_MM",
    "UNITS",
    "Dimension",
    "Quantity",
    "Unit",
    "UnitRefusal",
    "find_unit",
    "format_amount",
    "friendly_mass",
    "friendly_volume",
    "grams",
    "how_many",
    "length_nm",
    "mass_ng",
    "parse_quantity",
    "percent",
    "pieces",
    "quantity_from",
    "round_half_even",
    "stock_amount",
    "temperature_c",
    "volume_nl",
]
