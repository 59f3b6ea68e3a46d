"""Amount and unit given apart, as in JSON: {"amount": "1.25", "unit": "kg"}."""

from typing import Final

from studio.foundation.units.grammar import MAX_TEXT, parse_quantity
from studio.foundation.units.quantity import Quantity, UnitRefusal
from studio.foundation.units.registry import Dimension

_AMOUNT_CHARACTERS: Final = frozenset("0123456789./ -,+")


def quantity_from(amount: str | int, unit: str, *dimensions: Dimension) -> Quantity:
    """The exact quantity of `amount` (text or a whole number) in `unit`, as `parse_quantity` reads.

    A float is refused: most decimals have no exact float. Raises UnitRefusal.
    """
    if isinstance(amount, bool) or not isinstance(amount, str | int):
        raise UnitRefusal.because(
            "not-exact",
            'Write the amount as text ("1.25") or as a whole number: a number with a point is '
            "read as a float, which is not exact.",
        )
    if not isinstance(unit, str) or not unit.strip():
        raise UnitRefusal.because("no-unit", 'Write the unit as text, for example "kg".')
    if isinstance(amount, int):
        # checked by size first: Python refuses to write out very long integers
        if abs(amount) >= 10**MAX_TEXT:
            raise UnitRefusal.because("too-large", "That is more than can be kept.")
        amount = str(amount)
    if not {*amount} <= _AMOUNT_CHARACTERS:
        raise UnitRefusal.because(
            "bad-number", 'The amount is one number without a unit, for example "1.25".'
        )
    if any(map(str.isdigit, unit)):
        raise UnitRefusal.because("unknown-unit", "The unit is one unit without a number.")
    return parse_quantity(f"{amount} {unit}", *dimensions)
