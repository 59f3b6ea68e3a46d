"""Count sessions: what a find means against the books that moved on meanwhile.

Amounts are stock units of the lot (nanograms or pieces), money is ten-thousandths.
"""

from dataclasses import dataclass
from enum import StrEnum

from inventory.domain.stock.ledger import Balance, counting


class SessionState(StrEnum):
    """A session is open until it is posted or cancelled."""

    OPEN = "open"
    POSTED = "posted"
    CANCELLED = "cancelled"


class Moved(StrEnum):
    """When stock really moved that the books moved after the count was written down.

    Only who was there knows: moved after the count, the difference found then still stands; moved
    before it (and booked late), what was found already shows the move.
    """

    AFTER_COUNT = "after-count"
    BEFORE_COUNT = "before-count"


@dataclass(frozen=True, slots=True, kw_only=True)
class Find:
    """What was found of a lot, what the books held then, and what they hold now."""

    found: int
    expected: int
    books: Balance

    @property
    def difference(self) -> int:
        """What was found less what the books held when it was counted."""
        return self.found - self.expected

    @property
    def has_moved(self) -> bool:
        """Whether the books changed since, so that somebody must say what that means."""
        return self.books.on_hand != self.expected

    def to_post(self, moved: Moved | None = None) -> int:
        """What to bring the books to; below zero when the answer cannot be true."""
        if moved is Moved.AFTER_COUNT:
            return self.books.on_hand + self.difference
        return self.found

    def value(self, moved: Moved | None = None) -> int:
        """The cost that posting adds (above zero) or takes, at the lot's own unit cost.

        Nothing for an answer that cannot be true.
        """
        found = self.to_post(moved)
        change = counting(self.books, found) if found >= 0 else None
        return change.cost if change is not None else 0
