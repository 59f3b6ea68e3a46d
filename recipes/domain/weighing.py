"""From an exact mass to what a scale can show."""

from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from studio.foundation.errors import Faults

#: 10 t in ng: far above any small studio, far below what the stock columns hold.
LARGEST = 10**16
#: Of one mold, batch, line of a sale, carton or rack: more was typed twice.
MOST_BARS = 100_000
#: 1 kg in ng: the largest step of a scale that soap is weighed on.
COARSEST = 10**12


def check_weight(faults: Faults, mass: int | None, field: str, *, least: int = 0) -> None:
    """Add a fault unless a mass in ng, where there is one, is from `least` to 10 t."""
    if mass is not None and not least <= mass <= LARGEST:
        above = "more than nothing" if least else "0 g or more"
        faults.add("weight-outside", f"It weighs {above} and at most 10 t.", field)


def to_step(mass: Decimal, step: int) -> int:
    """The nearest multiple of the scale's step; halves go to the even one."""
    return int((mass / step).to_integral_value(ROUND_HALF_EVEN)) * step


def down_to_step(mass: Decimal, step: int) -> int:
    """The multiple of the scale's step at or below."""
    return int((mass / step).to_integral_value(ROUND_FLOOR)) * step


def up_to_step(mass: Decimal, step: int) -> int:
    """The multiple of the scale's step at or above."""
    return enough_whole(mass / step) * step


def nearest_whole(amount: Decimal) -> int:
    """Whole pieces nearest to an amount; halves go to the even one."""
    return to_step(amount, 1)


def enough_whole(amount: Decimal) -> int:
    """The fewest whole pieces that cover an amount."""
    return int(amount.to_integral_value(ROUND_CEILING))
