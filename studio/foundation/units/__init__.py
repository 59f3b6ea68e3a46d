"""Quantities with units: read from text, kept as exact fractions, stored as integers.

Stock is stored in base units that make every trade unit exact or nearly so: nanograms for mass
(a pound is 453 592 370 000 ng), nanoliters for volume, nanometers for length, pieces for what is
how_many. Temperatures are decimal degrees Celsius.

The one rounding rule: a quantity is an exact fraction until it is stored; then it is rounded once,
half to even, to the nanogram, nanoliter or nanometer. Pieces are never rounded.

This package is the only importer of pint, which confirms the factors (`by_pint`). Text never
reaches pint's own parser: `parse_quantity` reads a small closed grammar.
"""
