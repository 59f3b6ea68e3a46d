"""The only writer of stock: entries are added and the balances on the lots follow.

`post` takes changes of lots that the caller has locked, refuses what would break the laws of
`inventory.domain.stock.ledger`, writes all balances with one UPDATE and all entries with one
INSERT.
"""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import connection, transaction
from django.utils import timezone

from inventory.domain.stock.ledger import Balance, Change, after, breaks_verb, holds
from inventory.errors import LedgerRefusal
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation
from inventory.services.days import refuse_days, refuse_more_than_stood
from inventory.services.stock.holds import hold_what_turned_up
from inventory.services.stock.locks import balance_of
from studio.foundation.doers import By
from studio.foundation.errors import Faults
from studio.foundation.units.writing import format_amount

#: VALUES names its columns column1, column2 ... on PostgreSQL and on SQLite alike.
_UPDATE = """
UPDATE inventory_lot SET
    on_hand = inventory_lot.on_hand + change.column2,
    reserved = inventory_lot.reserved + change.column3,
    cost = inventory_lot.cost + change.column4
FROM (VALUES {rows}) AS change
WHERE inventory_lot.id = change.column1
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """Who posts, for which document, on which day, and why; the same on all entries of a posting.

    `on` is the studio's day of the fact, None for today: what is promised or given back happens
    when it is entered. `day_field` is what the caller's form calls that day.
    """

    reference: str
    by: By = None
    note: str = ""
    reservation: Reservation | None = None
    on: date | None = None
    day_field: str = "on"


def post(
    changes: Sequence[tuple[int, Change]], *, lots: Mapping[int, Lot], origin: Origin
) -> uuid.UUID:
    """Enter `changes` (lot id, change) in order; all of them or none.

    `lots` are the locked rows by id; their balances in memory follow too. Raises DayRefusal for a
    day that cannot be (`inventory.domain.stock.days`) and LedgerRefusal for a balance that would
    break the laws, each with a fault for every lot. What comes back into a lot that was unsafe and
    said to be gone is held again, whatever the verb.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("the ledger is written inside a transaction only")
    posting = uuid.uuid4()
    on = origin.on or timezone.localdate()
    entered = ((lot_id, change.verb) for lot_id, change in changes)
    refuse_days(entered, lots, on=on, field=origin.day_field)
    balances = _folded(changes, lots)
    refuse_more_than_stood(changes, lots, on=on, field=origin.day_field)
    _write_balances(balances, lots)
    reservation = origin.reservation.pk if origin.reservation else None
    by = origin.by.pk if origin.by else None
    StockEntry.objects.bulk_create(
        StockEntry(
            posting=posting,
            lot_id=lot_id,
            verb=change.verb.value,
            on_hand=change.on_hand,
            reserved=change.reserved,
            cost=change.cost,
            reservation_id=reservation,
            reference=origin.reference,
            note=origin.note,
            on=on,
            by_id=by,
        )
        for lot_id, change in changes
    )
    _hold_what_comes_back(changes, lots, on=on, by=origin.by)
    return posting


def _hold_what_comes_back(
    changes: Sequence[tuple[int, Change]],
    lots: Mapping[int, Lot],
    *,
    on: date,
    by: By,
) -> None:
    back = sorted({lot_id for lot_id, change in changes if change.comes_back})
    for lot_id in hold_what_turned_up(back, on=on, by=by) if back else ():
        lots[lot_id].refresh_from_db(fields=["state", "state_reason"])


def _folded(changes: Sequence[tuple[int, Change]], lots: Mapping[int, Lot]) -> dict[int, Balance]:
    """The balances after all changes, or a refusal that names each lot in the way."""
    balances = {lot_id: balance_of(lots[lot_id]) for lot_id, _ in changes}
    faults = Faults()
    for lot_id, change in changes:
        if breaks_verb(change):
            raise LedgerRefusal(f"An entry '{change.verb}' cannot change the books like that.")
        balances[lot_id] = after(balances[lot_id], change)
        if not holds(balances[lot_id]):
            faults.add(
                LedgerRefusal.code,
                f"Lot {lots[lot_id].code} does not hold that much: "
                f"{_words(balance_of(lots[lot_id]), lots[lot_id])}.",
                "lot",
                lot=lots[lot_id].code,
            )
    faults.raise_if_any(LedgerRefusal)
    return balances


def _words(balance: Balance, lot: Lot) -> str:
    unit = lot.material.stock_unit
    on_hand, reserved = (
        format_amount(amount, unit) for amount in (balance.on_hand, balance.reserved)
    )
    return f"{on_hand} {unit} on hand, {reserved} {unit} reserved"


def _write_balances(balances: Mapping[int, Balance], lots: Mapping[int, Lot]) -> None:
    """One UPDATE that adds the difference to each lot, so that its CHECKs guard every write."""
    rows: list[int] = []
    for lot_id, balance in balances.items():
        lot = lots[lot_id]
        rows += [
            lot_id,
            balance.on_hand - lot.on_hand,
            balance.reserved - lot.reserved,
            balance.cost - lot.cost,
        ]
        lot.on_hand, lot.reserved, lot.cost = balance.on_hand, balance.reserved, balance.cost
    if rows:
        values = ", ".join(["(%s, %s, %s, %s)"] * len(balances))
        with connection.cursor() as cursor:
            cursor.execute(_UPDATE.format(rows=values), rows)
