"""From stored integers back to text: exact for machines, short for people."""

from decimal import Decimal
from fractions import Fraction
from typing import Final, Literal

from studio.foundation.units.conversion import round_half_even
from studio.foundation.units.quantity import MAX_DECIMALS, UnitRefusal, decimal_text
from studio.foundation.units.registry import NG_PER_G, UNITS, Dimension

System = Literal["metric", "us"]

# unit and its places for people, largest first; the first that reaches one whole unit is used
_FRIENDLY: Final[dict[tuple[Dimension, System], tuple[tuple[str, int], ...]]] = {
    (Dimension.MASS, "metric"): (("kg", 3), ("g", 1), ("mg", 1)),
    (Dimension.MASS, "us"): (("lb", 2), ("oz", 2)),
    (Dimension.VOLUME, "metric"): (("L", 3), ("mL", 1)),
    (Dimension.VOLUME, "us"): (("gal", 2), ("fl oz", 2)),
}


def format_amount(base: int, unit: str) -> str:
    """`base` (ng, nL, pieces, nm) as plain decimal text in `unit` (a symbol of `UNITS`).

    Exact in metric units and pieces. In lb and other US units at most 12 decimals are written,
    few enough to read and enough that reading the text back gives the same integer. A temperature
    unit and a number of pieces that is no decimal of a dozen raise UnitRefusal.
    """
    known = UNITS[unit]
    if known.dimension is Dimension.TEMPERATURE:
        raise UnitRefusal.because("wrong-dimension", "A temperature has no integer base to write.")
    scaled = base * 10**MAX_DECIMALS / known.factor
    if known.dimension is Dimension.COUNT and scaled.denominator != 1:
        raise UnitRefusal.because(
            "not-exact", f"{base} pieces are no decimal number of {unit}: write them as each."
        )
    return decimal_text(round_half_even(scaled), MAX_DECIMALS)


def grams(ng: int, places: int | None = None) -> str:
    """A mass in grams: "1250.5 g", exact, or rounded half to even to so many decimals."""
    step = 1 if places is None else NG_PER_G // 10**places
    return f"{format_amount(round_half_even(Fraction(ng, step)) * step, 'g')} g"


def percent(share: Decimal, places: int = 2) -> str:
    """A share (0.05) in percent ("5 %"), with no more than `places` decimals."""
    text = f"{share * 100:.{places}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} %"


def how_many(number: int, one: str, many: str = "") -> str:
    """A number with its noun: "1 lot", "1,250 lots"; `many` where it isn't `one` with an s."""
    return f"{number:,} {one if number == 1 else many or f'{one}s'}"


def friendly_mass(ng: int, *, system: System = "metric", places: int | None = None) -> str:
    """A mass in nanograms as short text for a person: "567 g", "1.25 lb". Rounded half to even.

    `places` overrides the usual decimals (kg 3, g 1, mg 1, lb 2, oz 2); trailing zeros are dropped.
    """
    return _friendly(ng, Dimension.MASS, system, places)


def friendly_volume(nl: int, *, system: System = "metric", places: int | None = None) -> str:
    """A volume in nanoliters as short text for a person: "250 mL", "8.45 fl oz"."""
    return _friendly(nl, Dimension.VOLUME, system, places)


def _friendly(base: int, dimension: Dimension, system: System, places: int | None) -> str:
    choices = _FRIENDLY[dimension, system]
    if not base:
        # Nothing is nothing of the unit that people weigh in.
        return f"0 {choices[1][0]}"
    symbol, usual = next(
        (choice for choice in choices if abs(base) >= UNITS[choice[0]].factor), choices[-1]
    )
    shown = usual if places is None else places
    scaled = round_half_even(Fraction(base * 10**shown) / UNITS[symbol].factor)
    return f"{decimal_text(scaled, shown)} {symbol}"
