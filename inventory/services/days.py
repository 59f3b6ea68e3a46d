"""What has happened has a day: today in the studio's time zone, or one before; and lots have days.

`refuse_days` stands in the ledger, so that whatever posts is judged by it, through every door.
`take_day_to_come` is the same rule for those who tell several faults at once, or post nothing.
"""

from collections.abc import Iterable, Mapping
from datetime import date

from django.utils import timezone

from inventory.domain.stock.days import DayRule, LotDays, broken_day_rule, is_to_come
from inventory.domain.stock.ledger import Verb
from inventory.errors import DayRefusal
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.queries.stock.holds import free_since
from studio.foundation.errors import Faults


def take_day_to_come(
    faults: Faults, what: str, day: date, field: str = "on", *, instead: str = ""
) -> None:
    """Add a fault when `day` is still to come; `what` names the deed ("A pour").

    `instead` says where a coming day is written down.
    """
    if is_to_come(day, today=timezone.localdate()):
        told = f"{what} is of today or of a day before. {instead}"
        faults.add(DayRule.TO_COME.value, told.strip(), field)


def refuse_days(
    entered: Iterable[tuple[int, Verb]], lots: Mapping[int, Lot], *, on: date, field: str
) -> None:
    """Refuse entries (lot id, verb) on a day that cannot be, with a fault for each lot.

    `field` is what the caller calls the day. No query unless something ships or is refused. Raises
    DayRefusal.
    """
    faults = Faults()
    take_day_to_come(faults, "What has happened", on, field)
    faults.raise_if_any(DayRefusal)
    verbs = dict(entered)
    shipped = days_of(lots[pk] for pk, verb in verbs.items() if verb is Verb.SHIP)
    for lot_id, verb in verbs.items():
        take_lot_day(faults, lots[lot_id], verb, on=on, field=field, days=shipped.get(lot_id))
    faults.raise_if_any(DayRefusal)


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
