"""From quantities to the integers that are stored. Rounding happens here and nowhere else."""

from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Final

from studio.foundation.units.quantity import Quantity, UnitRefusal
from studio.foundation.units.registry import MAX_BASE, Dimension

# 1 g/mL is 10**9 ng in 10**6 nL
_NG_PER_NL_AT_ONE: Final = 1000
# Gold, the densest that anybody puts into soap, is 19.3 g/mL (from memory).
DENSEST_G_ML: Final = 20
_TEMPERATURE_PLACES: Final = 3


def round_half_even(value: Fraction) -> int:
    """The one rounding rule of quantities: to the nearest integer, a tie to the even one."""
    return round(value)


def mass_ng(quantity: Quantity, *, density_g_ml: Decimal | None = None) -> int:
    """The mass in nanograms; of a volume, through `density_g_ml` (g/mL).

    Raises UnitRefusal for other dimensions, for a volume without a density, and for a mass beyond
    a signed 64-bit integer.
    """
    if quantity.dimension is Dimension.MASS:
        return round_half_even(quantity.base)
    if quantity.dimension is not Dimension.VOLUME:
        raise _wrong(quantity, "mass")
    if density_g_ml is None:
        raise UnitRefusal.because(
            "no-density",
            f"{quantity} is a volume: give it as a mass, or give the density (g/mL) to weigh it.",
        )
    density = _density(density_g_ml)
    mass = round_half_even(quantity.base * density * _NG_PER_NL_AT_ONE)
    if mass > MAX_BASE:
        raise UnitRefusal.because("too-large", "That mass is more than can be kept.")
    return mass


def volume_nl(quantity: Quantity) -> int:
    """The volume in nanoliters. Raises UnitRefusal unless it is one."""
    return _rounded(quantity, Dimension.VOLUME)


def length_nm(quantity: Quantity) -> int:
    """The length in nanometers. Raises UnitRefusal unless it is one."""
    return _rounded(quantity, Dimension.LENGTH)


def pieces(quantity: Quantity) -> int:
    """The whole number of pieces. Raises UnitRefusal unless it is a count without a fraction."""
    if quantity.dimension is not Dimension.COUNT:
        raise _wrong(quantity, "count")
    if quantity.base.denominator != 1:
        raise UnitRefusal.because(
            "not-whole", f"{quantity} is not a whole number of pieces: pieces are counted whole."
        )
    return quantity.base.numerator


def temperature_c(quantity: Quantity) -> Decimal:
    """The temperature in degrees Celsius, to a thousandth. Raises UnitRefusal unless it is one."""
    if quantity.dimension is not Dimension.TEMPERATURE:
        raise _wrong(quantity, "temperature")
    thousandths = round_half_even(quantity.base * 10**_TEMPERATURE_PLACES)
    return Decimal(thousandths).scaleb(-_TEMPERATURE_PLACES)


#: Quantity -> integer of base units, by dimension.
STORED: Final[Mapping[Dimension, Callable[[Quantity], int]]] = {
    Dimension.MASS: mass_ng,
    Dimension.VOLUME: volume_nl,
    Dimension.COUNT: pieces,
    Dimension.LENGTH: length_nm,
}


def stock_amount(quantity: Quantity, *, counted: bool, density_g_ml: Decimal | None = None) -> int:
    """What the stock ledger keeps: pieces of what is counted, nanograms of what is weighed.

    Raises UnitRefusal as `pieces` and `mass_ng` do.
    """
    return pieces(quantity) if counted else mass_ng(quantity, density_g_ml=density_g_ml)


def _rounded(quantity: Quantity, dimension: Dimension) -> int:
    if quantity.dimension is not dimension:
        raise _wrong(quantity, dimension)
    return round_half_even(quantity.base)


def _density(density_g_ml: Decimal) -> Fraction:
    if isinstance(density_g_ml, float):
        raise TypeError("a float is not exact: give the density as a Decimal")
    if not density_g_ml.is_finite() or not 0 < density_g_ml <= DENSEST_G_ML:
        raise UnitRefusal.because(
            "bad-density",
            f"A density is above 0 and at most {DENSEST_G_ML} g/mL, not {density_g_ml}.",
        )
    return Fraction(density_g_ml)


def _wrong(quantity: Quantity, wanted: str) -> UnitRefusal:
    return UnitRefusal.because(
        "wrong-dimension", f"A {wanted} is needed here; {quantity} is a {quantity.dimension}."
    )
