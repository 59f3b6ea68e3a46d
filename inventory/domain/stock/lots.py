"""Lots as the rules see them: what may be used, in which order, and what a part of one costs.

Amounts are nanograms for what is weighed and pieces for what is counted; money is
ten-thousandths of the studio currency.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from fractions import Fraction
from typing import Protocol

from inventory.domain.stock.freshness import is_expired
from inventory.errors import NotEnoughStock
from studio.foundation.errors import InvalidInput


class LocationKind(StrEnum):
    """A shelf, a rack where soap dries in moving air, or a cold place."""

    SHELF = "shelf"
    CURING_RACK = "curing-rack"
    COLD = "cold"


class LotState(StrEnum):
    """Whether a lot may be used: only released lots may. It is what its open holds say."""

    QUARANTINE = "quarantine"
    RELEASED = "released"
    BLOCKED = "blocked"


@dataclass(frozen=True, slots=True, kw_only=True)
class LotView:
    """One lot as picking needs it; `material` is the material's id, `cost` that of all on hand.

    `for_rebatch`: it is held as unsafe soap and for nothing else, so a batch may take it where
    somebody chooses it by name; what is made of it is held, too.
    """

    id: int
    code: str
    material: int
    received_on: date
    on_hand: int
    state: LotState = LotState.RELEASED
    best_before: date | None = None
    reserved: int = 0
    cost: int = 0
    for_rebatch: bool = False

    @property
    def available(self) -> int:
        """On hand and not promised to anything."""
        return self.on_hand - self.reserved


def first_expired_first_out(lot: LotView) -> tuple[date, date, int]:
    """Sort key of the order of use: soonest best before, then oldest, then smallest id.

    Lots without a best before come last.
    """
    return (lot.best_before or date.max, lot.received_on, lot.id)


def oldest_first(lot: LotView) -> tuple[date, int]:
    """Sort key of bars for customers: those that have cured longest, then the smallest id."""
    return (lot.received_on, lot.id)


class Judged(Protocol):
    """A lot as a row, or as picking sees it."""

    @property
    def state(self) -> str:
        """Its `LotState`."""

    @property
    def received_on(self) -> date:
        """The day it came in or was made."""

    @property
    def best_before(self) -> date | None:
        """The last day on which it is good, where there is one."""


def is_good(lot: Judged, *, on: date) -> bool:
    """Whether what there is of a lot may be used on that day: released, there by then, fresh."""
    is_free = lot.state == LotState.RELEASED
    return is_free and lot.received_on <= on and not is_expired(lot.best_before, on=on)


def is_usable(lot: LotView, *, on: date) -> bool:
    """Whether the lot may be picked on that day: good, with something available."""
    return is_good(lot, on=on) and lot.available > 0


@dataclass(frozen=True, slots=True, kw_only=True)
class MovingAverage:
    """What is held and what it cost in all, at the moving weighted average."""

    quantity: int = 0
    cost: int = 0

    @property
    def per_unit(self) -> Fraction:
        """Exact average cost of one nanogram or piece; refuses when nothing is held."""
        if self.quantity == 0:
            raise NotEnoughStock("Nothing is held, so there is no average cost.")
        return Fraction(self.cost, self.quantity)

    def cost_of(self, quantity: int) -> int:
        """Cost of any quantity (more than is held too) at the average, rounded half to even."""
        if quantity < 0:
            raise InvalidInput("The quantity cannot be below zero.", field="quantity")
        return round(self.per_unit * quantity)
