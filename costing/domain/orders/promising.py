"""By which day bars can be there: those that are free, soonest first, else batches still to make.

Lines of the same bar share one pool, and every line draws on one shelf and one set of molds, so no
bar, material or mold is promised twice. What is soonest is taken first: free bars that are ready
only after a new batch would be are left for later. More free bars never make a line later; more of
a material may, where a line named before can now be made and takes it.
Days are dates; a mold is taken from the day of the pour up to, not including, the day of the cut.
"""

from bisect import insort
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from enum import StrEnum

#: More batches than that are no promise but a plan for a season.
MOST_BATCHES = 200


class Origin(StrEnum):
    """Where promised bars come from; in this order where they are ready on the same day."""

    CURED = "cured"
    CURING = "curing"
    PLANNED = "planned"
    NEW = "new"


_ORDER = list(Origin)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars:
    """So many bars, ready on a day; `code` names their lot, their batch, or the mold to pour."""

    kind: Origin
    amount: int
    ready_on: date
    code: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How a batch of a bar is made: `bars` of them in a mold, out of `needs` (stock units).

    The mold is free again after `days_in_mold`, the bars are cured after `days_to_cure`, both
    counted from the pour.
    """

    mold: int
    code: str
    bars: int
    needs: Mapping[int, int]
    days_in_mold: int
    days_to_cure: int

    @property
    def days(self) -> int:
        """Days from the pour until the bars may be sold: they are cut before they are cured."""
        return max(self.days_in_mold, self.days_to_cure)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfDay:
    """The first day on which all of some needs are there, None when one never comes.

    `waits_for` names what comes last, where the shelf does not have it already; where one never
    comes, it says why.
    """

    on: date | None
    waits_for: str = ""


#: Given what all new batches need together: when the part of it in these materials could be whole.
Shelf = Callable[[Mapping[int, int], Collection[int]], ShelfDay]
#: From a day up to another, which is not included.
Booking = tuple[date, date]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A line: so many bars of a pool (the material that the bars are)."""

    pool: int
    amount: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What covers a line: parts that add up to its amount less `short`.

    `waits_for` says what new batches wait for, or what keeps the rest from being made.
    """

    parts: tuple[Bars, ...]
    short: int = 0
    waits_for: str = ""

    @property
    def on(self) -> date | None:
        """The day on which all of it is ready; None while something is short."""
        return None if self.short else max((part.ready_on for part in self.parts), default=None)


@dataclass(slots=True)
class Workshop:
    """The molds with what is booked in them, the shelf, and the first day to pour.

    New batches are booked one after another, each as early as its mold and the shelf allow.
    """

    since: date
    shelf: Shelf
    booked: dict[int, list[Booking]] = field(default_factory=lambda: defaultdict(list))
    used: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    batches: int = 0

    def book(self, mold: int, *, earliest: date, days: int) -> date:
        """Take the first stretch of so many days that is free from `earliest` on."""
        start = self._first_gap(mold, earliest=earliest, days=days)
        insort(self.booked[mold], (start, _after(start, days)))
        return start

    def earliest(self, ways: Sequence[Way]) -> tuple[Way | None, date, str]:
        """The way whose bars are ready first, the day of its pour, and what it waits for.

        No way when none can be made: then the last says why.
        """
        if self.batches >= MOST_BATCHES:
            return None, self.since, f"more than {MOST_BATCHES} batches would have to be made"
        best: tuple[Way, date, str] | None = None
        stuck = ""
        for way in ways:
            there = self.shelf(_added(self.used, way.needs), way.needs)
            if there.on is None:
                stuck = stuck or there.waits_for
                continue
            day = max(there.on, self.since)
            start = self._first_gap(way.mold, earliest=day, days=way.days_in_mold)
            waits = there.waits_for if there.on > self.since else ""
            if start > day:
                waits = f"mold {way.code}"
            if best is None or _after(start, way.days) < _after(best[1], best[0].days):
                best = (way, start, waits)
        return best or (None, self.since, stuck)

    def make(self, way: Way, start: date) -> Bars:
        """Book a new batch: its mold, and what it takes from the shelf."""
        self.book(way.mold, earliest=start, days=way.days_in_mold)
        for material, amount in way.needs.items():
            self.used[material] += amount
        self.batches += 1
        return Bars(
            kind=Origin.NEW, amount=way.bars, ready_on=_after(start, way.days), code=way.code
        )

    def _first_gap(self, mold: int, *, earliest: date, days: int) -> date:
        start = earliest
        for begin, end in self.booked.get(mold, ()):
            if begin >= _after(start, days):
                break
            start = max(start, end)
        return start


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """A batch that is planned or poured: when, in which mold (None: in none of its own).

    `ready_on` is the day its cure ends where it is poured; `is_poured` says that it is in its mold
    now, `is_cut` that it has left it.
    """

    id: int
    mold: int | None
    start: date
    days_in_mold: int
    days_to_cure: int
    ready_on: date | None = None
    is_poured: bool = False
    is_cut: bool = False


def ready_days(batches: Sequence[Started], workshop: Workshop) -> dict[int, date]:
    """When the bars of each batch are ready, by its id; their molds are booked on the way.

    What is in a mold stays at least until tomorrow. Plans follow in the order of their days; those
    whose day is over, or whose mold is taken, are poured as soon as they can be.
    """
    ready: dict[int, date] = {}
    tomorrow = _after(workshop.since, 1)
    for batch in sorted(batches, key=lambda each: (not each.is_poured, each.start, each.id)):
        start = max(batch.start, workshop.since)
        if batch.is_cut:
            ready[batch.id] = max(batch.ready_on or start, workshop.since)
        elif batch.is_poured:
            cut_on = max(_after(batch.start, batch.days_in_mold), tomorrow)
            ready[batch.id] = max(batch.ready_on or cut_on, cut_on)
            if batch.mold is not None:
                stays = (cut_on - workshop.since).days
                workshop.book(batch.mold, earliest=workshop.since, days=stays)
        else:
            if batch.mold is not None:
                start = workshop.book(batch.mold, earliest=start, days=batch.days_in_mold)
            ready[batch.id] = _after(start, max(batch.days_in_mold, batch.days_to_cure))
    return ready


def promise_bars(
    asked: Sequence[Asked],
    *,
    free: Mapping[int, Iterable[Bars]],
    ways: Mapping[int, Sequence[Way]],
    workshop: Workshop,
) -> tuple[Found, ...]:
    """What covers each line, in their order; lines named first take the bars that are sooner.

    All lines of a bar are gathered for at the place of the first one, so that what is left of a
    batch for one of them never depends on what the other bars of the quote need.
    """
    wanted: dict[int, int] = defaultdict(int)
    for line in asked:
        wanted[line.pool] += line.amount
    gathered = {
        pool: _gather(amount, free.get(pool, ()), ways.get(pool, ()), workshop)
        for pool, amount in wanted.items()
    }
    return tuple(_served(line.amount, *gathered[line.pool]) for line in asked)


def _gather(
    wanted: int, free: Iterable[Bars], ways: Sequence[Way], workshop: Workshop
) -> tuple[list[Bars], list[str]]:
    """Bars in the order in which they are ready, until there are enough; what new ones wait for."""
    there = sorted(
        (bars for bars in free if bars.amount > 0),
        key=lambda bars: (bars.ready_on, _ORDER.index(bars.kind), bars.code),
        reverse=True,
    )
    taken: list[Bars] = []
    reasons: list[str] = []
    while wanted > 0:
        if there and there[-1].ready_on <= workshop.since:
            taken.append(there.pop())
        else:
            way, start, waits = workshop.earliest(ways)
            if there and (way is None or there[-1].ready_on <= _after(start, way.days)):
                taken.append(there.pop())
            else:
                reasons += [waits] if waits and waits not in reasons else []
                if way is None:
                    break
                taken.append(workshop.make(way, start))
        wanted -= taken[-1].amount
    return taken, reasons


def _served(amount: int, taken: list[Bars], reasons: list[str]) -> Found:
    """Take a line's amount off the front of what was gathered."""
    parts: list[Bars] = []
    left = amount
    while left and taken:
        first = taken[0]
        part = min(left, first.amount)
        parts.append(replace(first, amount=part))
        left -= part
        if part == first.amount:
            taken.pop(0)
        else:
            taken[0] = replace(first, amount=first.amount - part)
    is_made = left or any(part.kind is Origin.NEW for part in parts)
    told = reasons[-1:] if left else reasons
    return Found(parts=tuple(parts), short=left, waits_for=", ".join(told) if is_made else "")


def less(free: Iterable[Bars], owed: int) -> list[Bars]:
    """Free bars less what is owed already, which takes the soonest first."""
    left: list[Bars] = []
    for bars in sorted(free, key=lambda each: (each.ready_on, _ORDER.index(each.kind), each.code)):
        taken = min(owed, bars.amount)
        owed -= taken
        if bars.amount > taken:
            left.append(replace(bars, amount=bars.amount - taken))
    return left


def _added(used: Mapping[int, int], needs: Mapping[int, int]) -> dict[int, int]:
    both = dict(used)
    for material, amount in needs.items():
        both[material] = both.get(material, 0) + amount
    return both


def _after(day: date, days: int) -> date:
    return day + min(timedelta(days), date.max - day)
