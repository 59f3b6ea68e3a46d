"""Trace: what went into a lot and what was made of it, each way with one recursive query.

The recursion walks the links alone, which takes milliseconds among 100,000 lots; what it reached
is then looked up by id. (Joined in one statement, PostgreSQL takes the recursion for many times
of what it is and reads whole tables.) `UNION`, not `UNION ALL`, reaches each lot once, so the walk
ends whatever the links say.
"""

import json
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from django.db import connection
from django.db.models.expressions import RawSQL

from inventory.domain.shipping.trace import (
    Direction,
    HeldFor,
    Shipped,
    Trace,
    TracedLink,
    TracedLot,
    levels,
)
from studio.foundation.errors import NotFound

_LISTED = {
    "sqlite": "SELECT value FROM json_each(%s)",
    "postgresql": "SELECT unnest(%s::bigint[])",
}
_AMONG = {"sqlite": f"IN ({_LISTED['sqlite']})", "postgresql": "= ANY(%s)"}


def among(ids: Iterable[int]) -> RawSQL:
    """The ids as a subquery, for filters such as `pk__in=among(ids)`."""
    return RawSQL(_LISTED[connection.vendor], [_given(ids)])


def rows_among(sql: str, ids: Iterable[int]) -> list[tuple[Any, ...]]:
    """The rows of plain SQL in which `{among}` stands once, behind a column of ids. One query."""
    with connection.cursor() as cursor:
        cursor.execute(sql.format(among=_AMONG[connection.vendor]), [_given(ids)])
        rows: list[tuple[Any, ...]] = cursor.fetchall()
        return rows


def _given(ids: Iterable[int]) -> str | list[int]:
    listed = list(ids)
    return json.dumps(listed) if connection.vendor == "sqlite" else listed


#: By direction: the end of a link to step from, and the end to step to.
_STEP = {Direction.DOWN: ("parent_id", "child_id"), Direction.UP: ("child_id", "parent_id")}
_REACHED = """
WITH RECURSIVE reached(lot_id) AS (
    SELECT id FROM inventory_lot WHERE code = %s
    UNION
    SELECT link.{to} FROM reached JOIN inventory_lotlink link ON link.{come_from} = reached.lot_id
)
SELECT lot_id, (
    SELECT made.reference FROM inventory_lotlink made WHERE made.child_id = reached.lot_id LIMIT 1
) FROM reached
"""
_MADE_OF = """
WITH RECURSIVE made(lot_id) AS (
    SELECT id FROM inventory_lot WHERE id {among}
    UNION
    SELECT link.child_id FROM made JOIN inventory_lotlink link ON link.parent_id = made.lot_id
)
SELECT lot_id FROM made
"""
_LINKS = """
SELECT parent_id, child_id, SUM(amount) FROM inventory_lotlink
WHERE {come_from} {{among}} GROUP BY parent_id, child_id
"""
_LOTS = """
SELECT lot.id, lot.code, material.code, material.name, material.kind, material.counted,
    lot.state, lot.state_reason, lot.received_on, lot.received_amount, lot.on_hand,
    COALESCE(supplier.name, ''), lot.supplier_lot, delivery.code
FROM inventory_lot lot
JOIN inventory_material material ON material.id = lot.material_id
LEFT JOIN inventory_supplier supplier ON supplier.id = lot.supplier_id
LEFT JOIN inventory_deliveryline received ON received.lot_id = lot.id
LEFT JOIN inventory_delivery delivery ON delivery.id = received.delivery_id
WHERE lot.id {among}
"""
_SHIPPED = """
SELECT lot.code, material.code, material.name, shipment.customer_name, shipment.code,
    shipment.reference, shipment.shipped_on,
    line.amount - COALESCE((
        SELECT SUM(back.amount) FROM inventory_shipmentreturn back WHERE back.line_id = line.id
    ), 0),
    material.counted
FROM inventory_shipmentline line
JOIN inventory_shipment shipment ON shipment.id = line.shipment_id
JOIN inventory_lot lot ON lot.id = line.lot_id
JOIN inventory_material material ON material.id = lot.material_id
WHERE line.lot_id {among}
"""
_HELD = """
SELECT lot.code, reservation.holder, line.remaining, material.counted
FROM inventory_reservationline line
JOIN inventory_reservation reservation ON reservation.id = line.reservation_id
JOIN inventory_lot lot ON lot.id = line.lot_id
JOIN inventory_material material ON material.id = lot.material_id
WHERE line.remaining > 0 AND reservation.state = 'open' AND line.lot_id {among}
ORDER BY line.id
"""
#: Lots by id, the one that was asked about first, each with the document that made it, if any.
Reached = Mapping[int, str]


def made_of_these(lots: Iterable[int]) -> set[int]:
    """The ids of lots with all that was made of them, at any depth. One query."""
    return {pk for (pk,) in rows_among(_MADE_OF, lots)}


def reached(code: str, direction: Direction) -> Reached:
    """A lot and all that it leads to: ids, the lot itself first, with what made them. One query.

    Raises NotFound for an unknown code.
    """
    come_from, to = _STEP[direction]
    with connection.cursor() as cursor:
        cursor.execute(_REACHED.format(come_from=come_from, to=to), [code])
        found = {pk: document or "" for pk, document in cursor.fetchall()}
    if not found:
        raise NotFound(f"There is no lot {code}.", field="lot")
    return found


def trace(code: str, direction: Direction) -> Trace:
    """All lots that a lot leads to in one direction, with links and levels.

    Three queries at any depth, one of them recursive. Raises NotFound for an unknown code.
    """
    return trace_of(reached(code, direction), direction)


def trace_of(lots: Reached, direction: Direction) -> Trace:
    """The trace of what was `reached`. Two queries."""
    links = rows_among(_LINKS.format(come_from=_STEP[direction][0]), lots)
    down = direction is Direction.DOWN
    steps = ((one, other) if down else (other, one) for one, other, _ in links)
    level = levels(next(iter(lots)), steps)
    known = {row[0]: _lot(row, lots[row[0]], level[row[0]]) for row in rows_among(_LOTS, lots)}
    return Trace(
        direction=direction,
        lots=tuple(sorted(known.values(), key=lambda lot: (lot.level, lot.id))),
        links=tuple(
            TracedLink(known[one].code, known[other].code, int(amount), known[one].counted)
            for one, other, amount in links
        ),
    )


def shipped_of(lots: Iterable[int]) -> list[Shipped]:
    """What customers still have of these lots: shipped less what came back. One query."""
    return [
        Shipped(lot, code, name, customer, shipment, theirs, _day(day), int(out), bool(counted))
        for lot, code, name, customer, shipment, theirs, day, out, counted in rows_among(
            _SHIPPED, lots
        )
        if out
    ]


def held_of(lots: Iterable[int]) -> list[HeldFor]:
    """What open reservations hold of these lots. One query."""
    return [
        HeldFor(lot, holder, amount, bool(counted))
        for lot, holder, amount, counted in rows_among(_HELD, lots)
    ]


def _lot(row: tuple[Any, ...], made_by: str, level: int) -> TracedLot:
    (
        pk, code, material, name, kind, counted, state, reason, received_on, amount, on_hand,
        supplier, supplier_lot, delivery,
    ) = row  # fmt: skip
    document = f"delivery:{delivery}" if delivery else made_by
    return TracedLot(
        pk, code, material, name, kind, bool(counted), state, reason, _day(received_on), amount,
        on_hand, supplier, supplier_lot, document, level,
    )  # fmt: skip


def _day(value: date | str) -> date:
    """SQLite gives the days of plain SQL as text."""
    return date.fromisoformat(value) if isinstance(value, str) else value
