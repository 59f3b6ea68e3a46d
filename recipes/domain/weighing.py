"""From an exact mass to what a scale can show."""

from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal


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
