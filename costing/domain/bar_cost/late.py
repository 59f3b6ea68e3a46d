"""Labor and overhead whose rate came after the batch was costed: where they go.

What is left of the lot bears its part; what has left it is a variance, an expense of the day: costs
that were booked stay as they were (IAS 2 paragraph 34, and IAS 8 paragraph 36 for a changed
estimate). An unusual loss takes its part first (IAS 2 paragraph 16(a)). The split between what is
left and what was sold is the proration of underapplied overhead (OpenStax, Principles of
Accounting, volume 2, section 4.6, from memory). Money is ten-thousandths; amounts ng or pieces.
"""

from dataclasses import dataclass

from costing.domain.bar_cost.conversion import ConversionCost, abnormal_conversion
from studio.foundation.hints import Money
from studio.foundation.money import share


@dataclass(frozen=True, slots=True, kw_only=True)
class LateCost:
    """What came late: on the lot, the unusual loss, and of what had left; they make `cost`."""

    cost: Money
    on_lot: Money
    expensed: Money
    variance: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What a lot was made with, and what of it is left (ng or pieces)."""

    made: int
    on_hand: int


def late_cost(
    before: ConversionCost, after: ConversionCost, left: Left, *, abnormal: int, bars: int
) -> LateCost:
    """What the rates that came late add to a batch, and where it goes; all whole, no part is lost.

    `abnormal` of the `bars` that were cut were an unusual loss.
    """
    cost = after.at_least - before.at_least
    took = [
        abnormal_conversion(each, abnormal=abnormal, bars=bars) if abnormal else 0
        for each in (before, after)
    ]
    expensed = min(max(took[1] - took[0], 0), cost)
    rest = cost - expensed
    # A count may have found more than was made: all of it is there then.
    made = max(left.made, left.on_hand)
    on_lot = share(rest, left.on_hand, made) if left.on_hand else 0
    return LateCost(cost=cost, on_lot=on_lot, expensed=expensed, variance=rest - on_lot)
