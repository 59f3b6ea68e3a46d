"""The proof of the books: every balance is what the entries and the reservations say it is.

A fixed number of queries over the whole database, however large it is; nothing is read lot by lot.
What only other rooms and apps know they prove by a `Check` of their own, registered in `CHECKS`.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection
from django.db.models import CheckConstraint, Count, Q

from inventory.domain.stock.ledger import Balance, broken_laws
from inventory.models.stock.ledger import StockEntry
from inventory.services.stock.production import CONVERSION
from studio.foundation.registry import Registry

_DIFFERING = """
WITH entered AS (
    SELECT lot_id, SUM(on_hand) AS on_hand, SUM(reserved) AS reserved, SUM(cost) AS cost
    FROM inventory_stockentry GROUP BY lot_id
), held AS (
    SELECT line.lot_id,
        SUM(line.remaining) FILTER (WHERE reservation.state = 'open') AS still,
        SUM(line.remaining) FILTER (WHERE reservation.state <> 'open') AS forgotten
    FROM inventory_reservationline line
    JOIN inventory_reservation reservation ON reservation.id = line.reservation_id
    WHERE line.remaining <> 0 GROUP BY line.lot_id
), compared AS (
    SELECT lot.code, material.counted, lot.on_hand, lot.reserved, lot.cost,
        COALESCE(entered.on_hand, 0) AS entered_on_hand,
        COALESCE(entered.reserved, 0) AS entered_reserved,
        COALESCE(entered.cost, 0) AS entered_cost,
        COALESCE(held.still, 0) AS held,
        COALESCE(held.forgotten, 0) AS forgotten
    FROM inventory_lot lot
    JOIN inventory_material material ON material.id = lot.material_id
    LEFT JOIN entered ON entered.lot_id = lot.id
    LEFT JOIN held ON held.lot_id = lot.id
)
SELECT * FROM compared
WHERE on_hand <> entered_on_hand OR reserved <> entered_reserved OR cost <> entered_cost
    OR reserved <> held OR forgotten <> 0
    OR reserved < 0 OR reserved > on_hand OR cost < 0 OR (on_hand = 0 AND cost <> 0)
ORDER BY code
"""
#: A batch neither makes nor loses cost by producing: what it consumed is what it made, with what it
#: packed. The cost of conversion comes from outside; spoiled soap takes along what was produced.
_NOT_CONSERVED = """
WITH batch AS (
    SELECT reference,
        SUM(-cost) FILTER (WHERE verb = 'consume') AS consumed,
        SUM(cost) FILTER (WHERE verb = 'produce') AS produced,
        SUM(cost) FILTER (WHERE verb = 'add_cost' AND note <> %s) AS packed
    FROM inventory_stockentry
    WHERE reference LIKE 'batch:%%' AND verb IN ('consume', 'produce', 'add_cost')
    GROUP BY reference
)
SELECT reference, COALESCE(consumed, 0), produced + COALESCE(packed, 0)
FROM batch WHERE COALESCE(consumed, 0) <> produced + COALESCE(packed, 0) ORDER BY reference
"""
#: By the rule of `inventory.domain.stock.holds.state_of`, told once more so that it proves it.
_STATED = """
WITH held AS (
    SELECT lot_id, COUNT(*) AS holds,
        SUM(CASE WHEN cause IN ('arrival', 'cure') THEN 0 ELSE 1 END) AS blocking
    FROM inventory_hold WHERE lifted_at IS NULL GROUP BY lot_id
), told AS (
    SELECT lot.code, lot.state, CASE
        WHEN held.holds IS NULL THEN 'released' WHEN held.blocking = 0 THEN 'quarantine'
        ELSE 'blocked' END AS by_holds
    FROM inventory_lot lot LEFT JOIN held ON held.lot_id = lot.id
)
SELECT code, state, by_holds FROM told WHERE state <> by_holds ORDER BY code
"""
_COUNTS = """
SELECT (SELECT COUNT(*) FROM inventory_lot), (SELECT COUNT(*) FROM inventory_stockentry)
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One thing that does not agree about a lot, or about a document (a batch by its reference).

    `on_row` and `in_books` are in `unit`: nanograms for "g", pieces for "each", ten-thousandths
    of the currency for "money", a number of entries for "entries", a word for "state". `law` names
    a law of the ledger that the balance breaks, where the row and the books agree on a wrong
    balance. `against` says of a document what `in_books` is ("what was consumed cost").
    """

    lot: str
    what: str
    unit: str
    on_row: int | str
    in_books: int | str
    law: str = ""
    document: str = ""
    against: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """Something more that the books have to agree on: finds all that differs, in a fixed number of
    queries."""

    name: str
    find: Callable[[], Sequence[Difference]]


CHECKS = Registry[Check]()


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What was compared, and all that differs; the books are proved when nothing does."""

    lots: int
    entries: int
    differences: Sequence[Difference]

    @property
    def holds(self) -> bool:
        """Whether everything agrees."""
        return not self.differences


def prove_books() -> Proof:
    """Compare every lot with its entries and its reservations, and every batch with itself.

    For every lot: on hand, reserved and cost are the sums of its entries; reserved is what open
    reservations still hold; closed reservations hold nothing; the balance obeys the laws of the
    ledger; and every entry has the signs its verb allows. For every batch that produced: what it
    consumed cost as much as what it produced and packed, so that cost in (with the cost of
    conversion) = cost of good bars + ends in stock + expensed loss, to the last unit. Every lot's
    state is what its open holds say. Then all `CHECKS`. Five queries and theirs.
    """
    with connection.cursor() as cursor:
        cursor.execute(_COUNTS)
        lots, entries = cursor.fetchone()
        cursor.execute(_DIFFERING)
        names = [column[0] for column in cursor.description]
        rows = [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
    found = [difference for row in rows for difference in _differences(row)]
    return Proof(
        lots=lots,
        entries=entries,
        differences=(
            *found,
            *_batches_against_themselves(),
            *_entries_against_their_verb(),
            *_states_against_holds(),
            *(difference for check in CHECKS for difference in check.find()),
        ),
    )


def _batches_against_themselves() -> list[Difference]:
    """Batches that made or lost cost. One that produced nothing (yet) is not compared."""
    with connection.cursor() as cursor:
        cursor.execute(_NOT_CONSERVED, [CONVERSION])
        return [
            Difference(
                lot="",
                document=reference,
                what="cost of what was produced and packed",
                unit="money",
                on_row=int(made),
                in_books=int(consumed),
                against="what was consumed cost",
            )
            for reference, consumed, made in cursor.fetchall()
        ]


def _states_against_holds() -> list[Difference]:
    """Lots whose state is not what their open holds say, with the one and the other."""
    with connection.cursor() as cursor:
        cursor.execute(_STATED)
        return [
            Difference(
                lot=code,
                what="state, by its open holds,",
                unit="state",
                on_row=state,
                in_books=by_holds,
            )
            for code, state, by_holds in cursor.fetchall()
        ]


def _differences(row: dict[str, Any]) -> Iterator[Difference]:
    """All that differs about one lot; PostgreSQL sums integers into decimals, so they are cast."""
    stock = "each" if row["counted"] else "g"
    compared = (
        ("on hand", stock, row["on_hand"], row["entered_on_hand"]),
        ("reserved", stock, row["reserved"], row["entered_reserved"]),
        ("cost", "money", row["cost"], row["entered_cost"]),
        ("reserved, by open reservations", stock, row["reserved"], row["held"]),
        ("held by closed reservations", stock, row["forgotten"], 0),
    )
    for what, unit, on_row, in_books in compared:
        if on_row != in_books:
            yield Difference(
                lot=row["code"], what=what, unit=unit, on_row=int(on_row), in_books=int(in_books)
            )
    balance = Balance(on_hand=row["on_hand"], reserved=row["reserved"], cost=row["cost"])
    for law in broken_laws(balance):
        yield Difference(
            lot=row["code"],
            what="on hand",
            unit=stock,
            on_row=balance.on_hand,
            in_books=int(row["entered_on_hand"]),
            law=law,
        )


def _entries_against_their_verb() -> list[Difference]:
    """Entries that the CHECK on them would refuse: it was off when they were written."""
    allowed = next(
        constraint.condition
        for constraint in StockEntry._meta.constraints
        if isinstance(constraint, CheckConstraint) and constraint.name == "entry_follows_verb"
    )
    rows = (
        StockEntry.objects.filter(~Q(allowed))
        .values("lot__code")
        .annotate(wrong=Count("pk"))
        .order_by("lot__code")
    )
    return [
        Difference(
            lot=row["lot__code"],
            what="entries that break their verb",
            unit="entries",
            on_row=row["wrong"],
            in_books=0,
        )
        for row in rows
    ]
