"""What the shelf says against the books: counts, and what spoiled."""

from dataclasses import dataclass, replace
from datetime import date

from django.db import transaction

from inventory.domain.stock.ledger import Verb, counting, taking
from inventory.errors import LedgerRefusal
from inventory.models.counting.counts import StockCount
from inventory.models.stock.lots import Lot
from inventory.services.counting.made import refuse_more_than_made
from inventory.services.days import refuse_days
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.locks import balance_of, lock_lots
from inventory.services.stock.picking import shortage_refusal
from studio.foundation.errors import InvalidInput
from studio.foundation.units.writing import format_amount

#: What forms call the day of a count.
_DAY = "counted_on"


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """A lot as it was found: `found` in stock units, on a day."""

    lot_id: int
    found: int
    on: date
    reason: str = ""


@transaction.atomic
def count_lot(counted: Counted, *, origin: Origin) -> StockCount:
    """Bring a lot's books to what was found; the difference is one `count` entry.

    A loss takes its share of cost along. Raises LedgerRefusal when less was found than is
    reserved (release the reservation first) or more than was made here, InvalidInput for a negative
    find, DayRefusal for a day on which it cannot have been counted.
    """
    if counted.found < 0:
        raise InvalidInput("What was found cannot be below zero.", field="found")
    lots = lock_lots([counted.lot_id])
    # Also of a count that changes nothing, which enters nothing.
    refuse_days([(counted.lot_id, Verb.COUNT)], lots, on=counted.on, field=_DAY)
    lot = lots[counted.lot_id]
    expected = lot.on_hand
    if counted.found < lot.reserved:
        unit = lot.material.stock_unit
        raise LedgerRefusal(
            f"Lot {lot.code} has {format_amount(lot.reserved, unit)} {unit} reserved, more than "
            "was found; release the reservation first.",
            field="found",
        )
    refuse_more_than_made({lot.pk: counted.found}, lots)
    record = StockCount(
        lot=lot,
        counted_on=counted.on,
        expected=expected,
        found=counted.found,
        reason=counted.reason,
        by=origin.by,
    )
    change = counting(balance_of(lot), counted.found)
    if change is not None:
        origin = replace(origin, on=counted.on, day_field=_DAY)
        record.posting = post([(lot.pk, change)], lots=lots, origin=origin)
    record.save()
    return record


@transaction.atomic
def spoil_lot(lot_id: int, amount: int, *, origin: Origin) -> Lot:
    """Write off a spoiled amount of a lot with its share of cost; a reason is required.

    It spoiled on the origin's day. Raises NotEnoughStock when less is available, InvalidInput
    without amount or reason, DayRefusal.
    """
    if amount <= 0:
        raise InvalidInput("The spoiled amount must be above zero.", field="amount")
    if not origin.note.strip():
        raise InvalidInput("Say why it is written off.", field="reason")
    lots = lock_lots([lot_id])
    lot = lots[lot_id]
    if amount > balance_of(lot).available:
        raise shortage_refusal({lot.material_id: (amount, balance_of(lot).available)})
    post([(lot_id, taking(Verb.SPOIL, balance_of(lot), amount))], lots=lots, origin=origin)
    return lot
