"""What is free of a material on a day: on the shelf, to come, and promised to other plans.

The rule is that of the master schedule's cumulative available-to-promise: on a day only as much is
free as leaves no later day short. (From memory of standard texts on production planning.)
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

#: An amount (ng or pieces) on a day.
Dated = tuple[date, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """One material, in its stock unit.

    `available` is on the shelf and not reserved; `coming` is being made; `promised` is required by
    other plans beyond what they hold.
    """

    available: int = 0
    coming: tuple[Dated, ...] = ()
    promised: tuple[Dated, ...] = ()

    def free_by(self, day: date) -> int:
        """How much a new plan may count on by a day without taking it from another; never below 0.

        The least of what is left on that day and on every later one.
        """
        return max(0, min(left for on, left in self._left() if on is None or on >= day))

    def first_day(self, amount: int, *, since: date) -> date | None:
        """The first day from `since` on which `amount` is free; None when it never is."""
        days = sorted({since, *(on for on, _ in self.coming if on > since)})
        return next((day for day in days if self.free_by(day) >= amount), None)

    def _left(self) -> Iterator[tuple[date | None, int]]:
        """What is left at the end of each day with a change; a day holds until the next change.

        A day's stretch is named by its last day, the last one by None.
        """
        changes = _by_day([*self.coming, *((on, -amount) for on, amount in self.promised)])
        left = self.available
        for on, change in changes:
            yield _day_before(on), left
            left += change
        yield None, left


def _by_day(changes: Iterable[Dated]) -> list[Dated]:
    sums: dict[date, int] = {}
    for on, amount in changes:
        sums[on] = sums.get(on, 0) + amount
    return sorted(sums.items())


def _day_before(day: date) -> date:
    return date.fromordinal(max(day.toordinal() - 1, 1))
