"""What packs of an offer cost when a larger purchase makes every pack cheaper."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from inventory.domain.catalog.packs import MAX_PACKS
from studio.foundation.errors import Faults
from studio.foundation.money import MAX_MONEY

MOST_BREAKS = 10


@dataclass(frozen=True, slots=True)
class PriceBreak:
    """From so many packs of one order on, every pack of it costs `price` (ten-thousandths)."""

    from_packs: int
    price: int


def pack_price(packs: int, *, price: int, breaks: Sequence[PriceBreak] = ()) -> int:
    """The price of each of `packs` packs bought at once (all-units discount), ten-thousandths.

    Source of the kind of discount: Hadley and Whitin, "Analysis of Inventory Systems" (1963),
    section 2-11.
    """
    reached = [each for each in breaks if each.from_packs <= packs]
    return max(reached, key=lambda each: each.from_packs).price if reached else price


def check_breaks(faults: Faults, breaks: Sequence[PriceBreak], *, price: int) -> None:
    """Add what is wrong with an offer's breaks: they ascend in packs and descend in price."""
    if len(breaks) > MOST_BREAKS:
        faults.add("too-many", f"An offer has at most {MOST_BREAKS} breaks.", "price_breaks")
    steps = [PriceBreak(1, price), *breaks]
    for index, (before, after) in enumerate(pairwise(steps)):
        under = f"price_breaks.{index}"
        if not before.from_packs < after.from_packs <= MAX_PACKS:
            faults.add(
                "not-ascending",
                f"Each break begins at more packs than the one before, and at most {MAX_PACKS}.",
                f"{under}.from_packs",
            )
        if not 0 <= after.price <= MAX_MONEY:
            faults.add(
                "out-of-range", "A price is not below zero, nor too large.", f"{under}.price"
            )
        elif after.price >= before.price:
            faults.add("not-cheaper", "A break makes packs cheaper.", f"{under}.price")
