"""What has happened has a day: today in the studio's time zone, or one before; and lots have days.

`refuse_days` stands in the ledger, so that whatever posts is judged by it, through every door.
`take_day_outside` is the same rule for those who tell several faults at once, or post nothing.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date

from django.utils import timezone

from inventory.domain.stock.days import (
    DayRule,
    LotDays,
    broken_day_rule,
    comes_later,
    first_day,
    is_to_come,
    least_since,
)
from inventory.domain.stock.ledger import Change, Verb
from inventory.errors import DayRefusal
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.queries.stock.holds import free_since
from studio.foundation.errors import Faults
from studio.foundation.units.writing import format_amount


def take_day_outside(
    faults: Faults, what: str, day: date, field: str = "on", *, instead: str = ""
) -> None:
    """Add a fault when `day` is outside of those that are meant: still to come, or too long ago.

    `what` names the deed ("A pour"), `instead` says where a coming day is written down.
    """
    today = timezone.localdate()
    first = first_day(today=today)
    if is_to_come(day, today=today):
        told = f"{what} is dated today or earlier. {instead}"
        faults.add(DayRule.TO_COME.value, told.strip(), field)
    elif day < first:
        told = f"{what} is dated {first} or later: look at the year of {day}."
        faults.add(DayRule.TOO_LONG_AGO.value, told, field, first_day=first.isoformat())


def refuse_days(
    entered: Iterable[tuple[int, Verb]], lots: Mapping[int, Lot], *, on: date, field: str
) -> None:
    """Refuse entries (lot id, verb) on a day that cannot be, with a fault for each lot.

    `field` is what the caller calls the day. No query unless something ships or is refused. Raises
    DayRefusal.
    """
    faults = Faults()
    take_day_outside(faults, "What has happened", on, field)
    faults.raise_if_any(DayRefusal)
    # Of several changes of a lot the shipping counts: it is asked all that others are, and more.
    verbs = dict(sorted(set(entered), key=lambda pair: (pair[0], pair[1] is Verb.SHIP)))
    shipped = days_of(lots[pk] for pk, verb in verbs.items() if verb is Verb.SHIP)
    for lot_id, verb in verbs.items():
        take_lot_day(faults, lots[lot_id], verb, on=on, field=field, days=shipped.get(lot_id))
    faults.raise_if_any(DayRefusal)


def refuse_more_than_stood(
    changes: Iterable[tuple[int, Change]], lots: Mapping[int, Lot], *, on: date, field: str
) -> None:
    """Refuse changes (lot id, change) that take more on a day before than stood in the lot then.

    `lots` hold what they held before these changes. One query, none of today. Raises DayRefusal
    with a fault for each lot.
    """
    leaving: dict[int, int] = defaultdict(int)
    for lot_id, change in changes:
        leaving[lot_id] -= change.on_hand
    gone = {lot_id: amount for lot_id, amount in leaving.items() if amount > 0}
    if not gone or on >= timezone.localdate():
        return
    faults, later = Faults(), _later(gone, on)
    for lot_id, amount in gone.items():
        lot = lots[lot_id]
        least, day = least_since(lot.on_hand, later.get(lot_id, {}), on=on)
        if amount > least:
            unit = lot.material.stock_unit
            stood, left = (format_amount(each, unit) for each in (max(least, 0), amount))
            faults.add(
                DayRule.MORE_THAN_STOOD.value,
                f"Lot {lot.code} held {stood} {unit} on {day}, before more of it came back: "
                f"{left} {unit} cannot have left on {on}.",
                field,
                lot=lot.code,
                day=day.isoformat(),
            )
    faults.raise_if_any(DayRefusal)


def _later(lots: Iterable[int], on: date) -> dict[int, dict[date, int]]:
    """By lot and day, what changed its stock after a day. One query."""
    entries = StockEntry.objects.filter(lot__in=lots, on__gt=on).exclude(on_hand=0)
    found: dict[int, dict[date, int]] = defaultdict(lambda: defaultdict(int))
    for lot, verb, day, amount in entries.order_by().values_list("lot", "verb", "on", "on_hand"):
        if comes_later(Verb(verb), amount):
            found[lot][day] += amount
    return found


def days_of(lots: Iterable[Lot]) -> dict[int, LotDays]:
    """The days of lots that may leave for a customer, by id. One query, none for no lot."""
    shipped = list(lots)
    free = free_since(lot.pk for lot in shipped) if shipped else {}
    return {
        lot.pk: LotDays(received_on=lot.received_on, free_since=free.get(lot.pk)) for lot in shipped
    }


def take_lot_day(
    faults: Faults, lot: Lot, verb: Verb, *, on: date, field: str, days: LotDays | None = None
) -> None:
    """Add a fault when the lot cannot have an entry under `verb` on that day, which is not to come.

    `days` are those of `days_of` where it ships. The fault's details name the lot, the day it came
    in, and whether it was made here.
    """
    days = days or LotDays(received_on=lot.received_on)
    rule = broken_day_rule(verb, days, on=on)
    if rule is None:
        return
    made = rule is DayRule.BEFORE_RECEIPT and was_made(lot)
    faults.add(
        rule.value,
        _told(rule, lot, days, made=made),
        field,
        lot=lot.code,
        received_on=lot.received_on.isoformat(),
        made=made,
    )


def was_made(lot: Lot) -> bool:
    """Whether a lot was made here by a document, and did not come in from elsewhere. One query."""
    return StockEntry.objects.filter(lot=lot, verb=Verb.PRODUCE.value).exists()


def _told(rule: DayRule, lot: Lot, days: LotDays, *, made: bool) -> str:
    if rule is DayRule.BEFORE_FREE:
        return f"Lot {lot.code} was held until {days.free_since}: it cannot leave before."
    if made:
        return f"Lot {lot.code} was made on {lot.received_on}: there was nothing of it before."
    return (
        f"Lot {lot.code} came in on {lot.received_on}. If it was here before, correct the day it "
        "came in, and enter this again."
    )
