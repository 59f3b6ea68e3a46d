"""The trace of a lot: what went into it, or what was made of it, through every level.

Amounts are stock units: nanograms of what is weighed, pieces of what is counted.
"""

from collections import defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from studio.foundation.hints import Stock


class Direction(StrEnum):
    """Up to what went into a lot, or down to what was made of it."""

    UP = "up"
    DOWN = "down"


@dataclass(frozen=True, slots=True)
class TracedLot:
    """One lot of a trace. `level` is the fewest steps from the lot that was asked about.

    `document` names what brought the lot in or made it: "delivery:D-00003", "batch:B-00012".
    """

    id: int
    code: str
    material: str
    material_name: str
    kind: str
    counted: bool
    state: str
    state_reason: str
    received_on: date
    received_amount: Stock
    on_hand: Stock
    supplier: str
    supplier_lot: str
    document: str
    level: int = 0


@dataclass(frozen=True, slots=True)
class TracedLink:
    """`amount` of the parent (its stock unit; pieces when `counted`) went into the child."""

    parent: str
    child: str
    amount: Stock
    counted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """All lots in one direction, the one asked about first, then level by level; and the links."""

    direction: Direction
    lots: tuple[TracedLot, ...]
    links: tuple[TracedLink, ...]

    @property
    def start(self) -> TracedLot:
        """The lot that was asked about."""
        return self.lots[0]

    @property
    def standing(self) -> tuple[TracedLot, ...]:
        """What else of it is still here: lots that hold something."""
        return tuple(lot for lot in self.lots[1:] if lot.on_hand)


def levels(start: int, steps: Iterable[tuple[int, int]]) -> dict[int, int]:
    """The fewest steps from `start` to each lot that it leads to, `start` included as 0.

    `steps` are pairs of lots (from, to), in any order. Cycles do no harm. Each step is looked at
    once (breadth first).
    """
    onward: Mapping[int, list[int]] = defaultdict(list)
    for one, other in steps:
        onward[one].append(other)
    found = {start: 0}
    waiting = deque([start])
    while waiting:
        one = waiting.popleft()
        for other in onward.get(one, ()):
            if other not in found:
                found[other] = found[one] + 1
                waiting.append(other)
    return found


@dataclass(frozen=True, slots=True)
class Shipped:
    """Pieces of a lot that a customer still has: shipped less what came back."""

    lot: str
    material: str
    material_name: str
    customer: str
    shipment: str
    reference: str
    shipped_on: date
    amount: Stock
    counted: bool


@dataclass(frozen=True, slots=True)
class HeldFor:
    """What of a lot is reserved for a holder ("batch:B-00012")."""

    lot: str
    holder: str
    amount: Stock
    counted: bool


@dataclass(frozen=True, slots=True)
class CustomerShare:
    """What one customer still has, shipment by shipment."""

    customer: str
    shipped: tuple[Shipped, ...]


def by_customer(shipped: Iterable[Shipped]) -> tuple[CustomerShare, ...]:
    """What customers still have, by name; within a customer by day, shipment and lot."""
    mine: dict[str, list[Shipped]] = defaultdict(list)
    for one in shipped:
        mine[one.customer].append(one)
    return tuple(
        CustomerShare(
            customer, tuple(sorted(some, key=lambda s: (s.shipped_on, s.shipment, s.lot)))
        )
        for customer, some in sorted(mine.items())
    )


def totals(shipped: Sequence[Shipped]) -> dict[str, int]:
    """What customers still have in all, by material code, in stock units."""
    found: dict[str, int] = defaultdict(int)
    for one in shipped:
        found[one.material] += one.amount
    return dict(found)
