"""Facts have days: none to come or of ages ago, none before its lot came in or was free to ship."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from inventory.domain.stock.ledger import Verb

#: How many calendar years back a fact may lie. Soap and what it is made of keep for a few years,
#: books for some ten: what is older is a year typed wrong (0026 for 2026). Common practice, no
#: source.
LONGEST_AGO = 50


class DayRule(StrEnum):
    """What a day of the ledger may not be; each is the code of its fault."""

    TO_COME = "day-to-come"
    TOO_LONG_AGO = "too-long-ago"
    BEFORE_RECEIPT = "before-receipt"
    BEFORE_FREE = "before-release"
    MORE_THAN_STOOD = "more-than-stood"


@dataclass(frozen=True, slots=True, kw_only=True)
class LotDays:
    """The days of a lot that its entries go by.

    `received_on` is the day it came in or was made; `free_since` the day on which its last hold was
    lifted, None where it never was held.
    """

    received_on: date
    free_since: date | None = None


def is_to_come(day: date, *, today: date) -> bool:
    """Whether a day is still to come; what has happened is of `today` or of a day before."""
    return day > today


def first_day(*, today: date) -> date:
    """The first day on which something may have happened that a studio writes down `today`."""
    return date(max(today.year - LONGEST_AGO, date.min.year), 1, 1)


def broken_day_rule(verb: Verb, lot: LotDays, *, on: date) -> DayRule | None:
    """What a lot says against an entry of it on the day `on`; None for a day that can be.

    Whatever is done with a lot is done once it is there: no entry is before it came in. Bars leave
    for a customer once their last hold was lifted (ISO 22716, 6.5 and 9.4, from memory: materials
    and finished products are used and shipped once they are released).
    """
    if on < lot.received_on:
        return DayRule.BEFORE_RECEIPT
    if verb is Verb.SHIP and lot.free_since is not None and on < lot.free_since:
        return DayRule.BEFORE_FREE
    return None


def comes_later(verb: Verb, on_hand: int) -> bool:
    """Whether an entry changes what stood in its lot from its own day on, and not before.

    A lot holds what it came in or was made with from the day it came in, which may be corrected
    later; and what a count finds beyond the books was there all along.
    """
    found = verb is Verb.COUNT and on_hand > 0
    return not found and verb not in (Verb.RECEIVE, Verb.PRODUCE)


def least_since(now: int, later: Mapping[date, int], *, on: date) -> tuple[int, date]:
    """The least that stood in a lot at the end of the day `on` or of a day since, and that day.

    `now` is what the lot holds, `later` the sums by day of what changed it after `on`; of days with
    the same least the last counts.
    """
    days = [on, *sorted(later)]
    least, day, stood = now, days[-1], now
    for before, changed_on in zip(days[-2::-1], days[:0:-1], strict=True):
        stood -= later[changed_on]
        if stood < least:
            least, day = stood, before
    return least, day
