"""The day a lot came in, corrected: whoever enters the past finds it wrong sooner or later."""

from datetime import date

from django.db import transaction
from django.db.models import Min

from inventory.domain.stock.freshness import check_best_before, moved_best_before
from inventory.domain.stock.ledger import Verb
from inventory.errors import DayRefusal
from inventory.models.counting.counts import StockCount
from inventory.models.receiving.deliveries import Delivery
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.days import take_day_outside, was_made
from inventory.services.events import buying_cost_changed
from inventory.services.stock.locks import lock_lots
from studio.foundation.doers import By
from studio.foundation.errors import Faults, NotFound

REASON_LENGTH = 100
#: What forms call the day.
_DAY = "received_on"


@transaction.atomic
def correct_day_of_receipt(
    code: str, received_on: date, *, reason: str, by: By = None
) -> list[Lot]:
    """Let a lot have come in on another day, with why; returns the lots whose day that is.

    Lots of one delivery came together: all of them are corrected, and the delivery with them. A
    best before that follows from the shelf life moves along, one that was stated stays. No entry of
    the ledger is changed. Raises DayRefusal for a day to come, one after something left a lot, or
    after a best before, and for a lot that was made here; NotFound.
    """
    lots = _locked(code)
    faults = Faults()
    if not 1 <= len(reason.strip()) <= REASON_LENGTH:
        faults.add("reason-missing", f"Say why, in 1 to {REASON_LENGTH} characters.", "reason")
    take_day_outside(faults, "What came in", received_on, _DAY)
    faults.raise_if_any(DayRefusal)
    _check_entries(faults, lots, received_on)
    for lot in lots:
        _move(faults, lot, received_on)
    faults.raise_if_any(DayRefusal)
    for lot in lots:
        # Read by the history of lots, as is known there by these names.
        lot._history_user = by  # type: ignore[attr-defined]
        lot._change_reason = reason.strip()  # type: ignore[attr-defined]
        lot.save(update_fields=["received_on", "best_before"])
    _correct_delivery(lots[0], received_on, reason)
    # Which delivery of a material was the last may be another now.
    buying_cost_changed.send(Lot, materials=frozenset(lot.material_id for lot in lots))
    return lots


def _locked(code: str) -> list[Lot]:
    """The lot with all that came in with it, locked in the order of their ids."""
    lot = Lot.objects.filter(code=code).first()
    if lot is None:
        raise NotFound(f"There is no lot {code}.", field="lot")
    if was_made(lot):
        raise DayRefusal(
            f"Lot {code} was made here on {lot.received_on}, out of what left the shelf that day: "
            "that day cannot be changed.",
            field=_DAY,
        )
    together = Lot.objects.filter(delivery_line__delivery__lines__lot=lot).values_list("pk")
    lots = lock_lots([lot.pk, *(pk for (pk,) in together)])
    return [lots[pk] for pk in sorted(lots)]


def _check_entries(faults: Faults, lots: list[Lot], received_on: date) -> None:
    """What was entered or counted of a lot after it came in stays after it. Two queries."""
    entries = StockEntry.objects.filter(lot__in=lots).exclude(verb=Verb.RECEIVE.value)
    first = dict(entries.order_by().values_list("lot").annotate(first=Min("on")))
    # A count that found no difference entered nothing.
    counts = StockCount.objects.filter(lot__in=lots).order_by().values_list("lot")
    for lot_id, counted_on in counts.annotate(first=Min("counted_on")):
        first[lot_id] = min(counted_on, first.get(lot_id, counted_on))
    for lot in lots:
        if lot.pk in first and first[lot.pk] < received_on:
            told = f"Of lot {lot.code} something was entered for {first[lot.pk]}: it was here then."
            faults.add("after-use", told, _DAY, lot=lot.code, used_on=first[lot.pk].isoformat())


def _move(faults: Faults, lot: Lot, received_on: date) -> None:
    days = lot.material.shelf_life_days
    lot.best_before = moved_best_before(
        lot.best_before, was=lot.received_on, received_on=received_on, shelf_life_days=days
    )
    lot.received_on = received_on
    check_best_before(faults, lot.best_before, received_on=received_on, field=_DAY)


def _correct_delivery(lot: Lot, received_on: date, reason: str) -> None:
    """The delivery that brought the lots says its day, and in its note which one it had."""
    delivery = Delivery.objects.select_for_update().filter(lines__lot=lot).first()
    if delivery is None:
        return
    told = f"Came in on {received_on}; {delivery.received_on} was wrong: {reason.strip()}"
    delivery.note = "\n".join(part for part in (delivery.note, told) if part)
    delivery.received_on = received_on
    delivery.save(update_fields=["received_on", "note"])
