"""A ledger of 100,000 lots and 1,000,000 entries with the links and shipments of five years.

Bought lots go into blends and batches; a batch pours a lot and cuts it into bars; bars go to
customers. Rows are written by plain SQL that both databases understand.
"""

from django.db import connection

from inventory.models.stock.ledger import ENTRIES
from tests.inventory.making import make_material

BOUGHT, BLENDS, LOTS = 500, 250, 100_000
FIRST_BATCH = BOUGHT + BLENDS
BATCHES = (LOTS - FIRST_BATCH) // 2
CUSTOMERS = 300

_SERIES = "WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < {most} - 1)"
_LOTS = """
INSERT INTO inventory_lot (id, code, material_id, supplier_lot, received_on, state,
    state_reason, note, received_amount, on_hand, reserved, cost, created_at)
{series} SELECT {base} + i, 'big-' || i,
    CASE WHEN i < {bought} THEN {oil} WHEN i < {first} THEN {blend}
        WHEN (i - {first}) % 2 = 0 THEN {batter} ELSE {bar} END,
    '', DATE '2026-01-05', 'released', '', '', 1000, 24, 0, 10000, TIMESTAMP '2026-01-05 10:00:00'
FROM n
"""
_LINKS = (
    # two bought lots in each blend
    """INSERT INTO inventory_lotlink (parent_id, child_id, amount, reference)
    {series} SELECT {base} + (i * 2 + k.column1) % {bought}, {base} + {bought} + i, 500,
        'batch:M-' || i
    FROM n CROSS JOIN (VALUES (0), (1)) AS k""",
    # six bought lots and a blend in each poured lot
    """INSERT INTO inventory_lotlink (parent_id, child_id, amount, reference)
    {series} SELECT {base} + CASE WHEN k.column1 < 6 THEN (i * 7 + k.column1 * 397) % {bought}
            ELSE {bought} + i % {blends} END,
        {base} + {first} + i * 2, 100, 'batch:B-' || i
    FROM n CROSS JOIN (VALUES (0), (1), (2), (3), (4), (5), (6)) AS k""",
    # each poured lot in its bars
    """INSERT INTO inventory_lotlink (parent_id, child_id, amount, reference)
    {series} SELECT {base} + {first} + i * 2, {base} + {first} + i * 2 + 1, 1000, 'batch:B-' || i
    FROM n""",
)
_ENTRY = """INSERT INTO inventory_stockentry
(posting, lot_id, verb, on_hand, reserved, cost, reference, note, "on", at)"""
_WHEN = "TIMESTAMP '2026-01-05 10:00:00'"
_DAY = "DATE '2026-01-05'"
_POSTING = "'00000000-0000-0000-0000-000000000001'"
_ENTRIES = (
    f"""{_ENTRY} SELECT {_POSTING}, id, 'produce', 1000, 0, 10000, '', '', {_DAY}, {_WHEN}
    FROM inventory_lot WHERE id >= {{base}}""",
    f"""{_ENTRY} SELECT {_POSTING}, parent_id, 'reserve', 0, amount, 0, reference, '',
    {_DAY}, {_WHEN} FROM inventory_lotlink WHERE amount < 1000""",
    f"""{_ENTRY} SELECT {_POSTING}, parent_id, 'consume', -amount, -amount, -1, reference, '',
    {_DAY}, {_WHEN} FROM inventory_lotlink""",
    f"""{_ENTRY} SELECT {_POSTING}, lot_id, 'ship', -amount, 0, -1, '', '', {_DAY}, {_WHEN}
    FROM inventory_shipmentline""",
)
_SHIPMENTS = (
    """INSERT INTO inventory_shipment
    (id, code, customer_name, reference, shipped_on, note, created_at)
    {series} SELECT {base} + i, 'big-S-' || i, 'Shop ' || i % {customers}, '', DATE '2026-03-02',
        '', TIMESTAMP '2026-03-02 10:00:00' FROM n""",
    """INSERT INTO inventory_shipmentline (shipment_id, position, lot_id, amount, cost)
    {series} SELECT {base} + (i * 31 + k.column1 * 17) % {batches}, i * 2 + k.column1,
        {base} + {first} + i * 2 + 1, 12, 5000
    FROM n CROSS JOIN (VALUES (0), (1)) AS k""",
)


def fill_ledger():
    """Write it all and gather the planner's statistics; returns the code of the first lot."""
    kinds = ("fat", "intermediate", "batter", "bar")
    oil, blend, batter, bar = (make_material(kind=kind, counted=kind == "bar").pk for kind in kinds)
    known = {
        "base": 1_000_000,
        "bought": BOUGHT,
        "blends": BLENDS,
        "first": FIRST_BATCH,
        "batches": BATCHES,
        "customers": CUSTOMERS,
        **{"oil": oil, "blend": blend, "batter": batter, "bar": bar},
    }
    rows = (LOTS, BLENDS, BATCHES, BATCHES, BATCHES, BATCHES)
    statements = (_LOTS, *_LINKS, *_SHIPMENTS)
    ENTRIES.take_off(connection)
    with connection.cursor() as cursor:
        for statement, most in zip(statements, rows, strict=True):
            cursor.execute(_plain(statement, series=_SERIES.format(most=most), **known))
        for statement in _ENTRIES:
            cursor.execute(_plain(statement, **known))
        cursor.execute("ANALYZE")
    ENTRIES.put_on(connection)
    return "big-0"


def _plain(statement, **known):
    """SQLite writes dates as text without naming their type."""
    sql = statement.format(**known)
    if connection.vendor == "sqlite":
        sql = sql.replace("DATE '", "'").replace("TIMESTAMP '", "'")
    return sql
