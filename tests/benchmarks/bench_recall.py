"""A full recall among 100,000 lots and a million entries, beside plain recursive SQL for the same.

    python -m pytest tests/benchmarks/bench_recall.py -s

The report beside two recursive queries that give the same lots, links and customers; blocking
beside the recursive statements that keep, block and write the history of the same lots.
"""

from itertools import count

from django.db import connection, transaction

from inventory.domain.shipping.trace import Direction
from inventory.models.stock.holds import Hold
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.queries.shipping.recall import affected_by
from inventory.queries.shipping.trace import reached
from inventory.services.shipping.recall import lift_recall, recall_lot
from tests.benchmarks.big_ledger import LOTS, fill_ledger
from tests.benchmarks.big_shelf import median_seconds, report
from tests.benchmarks.raw_reserving import open_raw

ROUNDS = 9
_REACHED = """
WITH RECURSIVE reached(lot_id) AS (
    SELECT id FROM inventory_lot WHERE code = 'big-0'
    UNION
    SELECT link.child_id FROM reached JOIN inventory_lotlink link ON link.parent_id = reached.lot_id
)
"""
_LOTS = f"""{_REACHED}
SELECT lot.id, lot.code, material.code, material.name, material.kind, material.counted,
    lot.state, lot.state_reason, lot.received_on, lot.received_amount, lot.on_hand,
    supplier.name, lot.supplier_lot, delivery.code, link.parent_id, link.amount, link.reference
FROM reached
JOIN inventory_lot lot ON lot.id = reached.lot_id
JOIN inventory_material material ON material.id = lot.material_id
LEFT JOIN inventory_supplier supplier ON supplier.id = lot.supplier_id
LEFT JOIN inventory_deliveryline received ON received.lot_id = lot.id
LEFT JOIN inventory_delivery delivery ON delivery.id = received.delivery_id
LEFT JOIN inventory_lotlink link
    ON link.child_id = lot.id AND link.parent_id IN (SELECT lot_id FROM reached)
"""
_SHIPPED = f"""{_REACHED}
SELECT lot.code, material.code, material.name, shipment.code, shipment.customer_name,
    shipment.reference, shipment.shipped_on, line.amount - COALESCE((
        SELECT SUM(amount) FROM inventory_shipmentreturn back WHERE back.line_id = line.id), 0)
FROM reached
JOIN inventory_lot lot ON lot.id = reached.lot_id
JOIN inventory_material material ON material.id = lot.material_id
JOIN inventory_shipmentline line ON line.lot_id = lot.id
JOIN inventory_shipment shipment ON shipment.id = line.shipment_id
"""


def hand_written(raw):
    """All that the report tells, by two statements."""
    return raw.execute(_LOTS).fetchall(), raw.execute(_SHIPPED).fetchall()


@transaction.atomic
def block_by_hand(number):
    """A recall with its holds, the new state of its lots and their history, set by set."""
    history = Lot.history.model._meta
    known = {field.column for field in history.concrete_fields}
    kept = ", ".join(f.column for f in Lot._meta.concrete_fields if f.column in known)
    code = f"by-hand-{number}"
    statements = (
        (
            "INSERT INTO inventory_recall (code, lot_id, reason, opened_at, lifted_reason, "
            "lifted_at) SELECT %s, id, 'x', created_at, 'done', created_at FROM inventory_lot "
            "WHERE code = 'big-0'",
            [code],
        ),
        (
            'INSERT INTO inventory_hold (lot_id, cause, reference, reason, "on", at, '
            f"lifted_reason, outcome) {_REACHED} SELECT lot.id, 'recall', %s, 'x', "
            "lot.received_on, lot.created_at, '', '' FROM reached "
            "JOIN inventory_lot lot ON lot.id = reached.lot_id",
            [code],
        ),
        (
            f"{_REACHED} UPDATE inventory_lot SET state = 'blocked', state_reason = %s "
            "WHERE id IN (SELECT lot_id FROM reached)",
            [code],
        ),
        (
            f"INSERT INTO {history.db_table} ({kept}, history_date, history_type) {_REACHED} "
            f"SELECT {kept}, created_at, '~' FROM inventory_lot "
            "WHERE id IN (SELECT lot_id FROM reached)",
            [],
        ),
    )
    with connection.cursor() as cursor:
        for sql, params in statements:
            cursor.execute(sql, params)


def release():
    lots = list(reached("big-0", Direction.DOWN))
    Hold.objects.filter(lot__in=lots).delete()
    Lot.objects.filter(pk__in=lots).update(state="released", state_reason="")


def test_the_report(database, benchmark, capsys):
    fill_ledger()
    assert Lot.objects.count() == LOTS and StockEntry.objects.count() > 900_000
    told = benchmark.pedantic(lambda: affected_by("big-0"), rounds=ROUNDS, warmup_rounds=2)
    with open_raw(database) as raw:
        lots, shipped = hand_written(raw)
        seconds = median_seconds(lambda _: hand_written(raw), rounds=ROUNDS)
    assert {lot.code for lot in told.trace.lots} == {row[1] for row in lots}
    assert sum(len(share.shipped) for share in told.customers) == len(shipped)
    report(benchmark, capsys, database, raw=seconds)
    assert benchmark.stats.stats.median <= 2 * seconds


def test_blocking(database, benchmark, capsys):
    fill_ledger()
    numbers = count()

    def ready():
        for recall in Lot.objects.get(code="big-0").recalls.filter(lifted_at__isnull=True):
            lift_recall(recall.code, "again")

    benchmark.pedantic(
        lambda: recall_lot("big-0", "rancid"), setup=ready, rounds=ROUNDS, warmup_rounds=1
    )
    ready()
    spent = []
    for _ in range(ROUNDS):
        spent.append(median_seconds(lambda _: block_by_hand(next(numbers)), rounds=1))
        release()
    report(benchmark, capsys, database, raw=sorted(spent)[ROUNDS // 2])
