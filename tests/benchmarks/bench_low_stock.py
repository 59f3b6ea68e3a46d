"""A round of alerts over 2,000 materials beside its low stock found and written by plain SQL.

Run with: python -m pytest tests/benchmarks/bench_low_stock.py -s
The SQL computes the positions, opens, updates and closes; it looks for no other cause, and writes
no sentences and no mail.
"""

import time
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection, transaction

from inventory.domain.stock.ledger import Verb
from inventory.models.alerts.alerts import Alert
from inventory.models.buying.orders import PurchaseOrder
from inventory.models.catalog.materials import Material
from inventory.services.alerts import registry as alert_registry
from inventory.services.alerts.alerts import raise_alerts
from inventory.services.buying.orders import Ordered, OrderedLine, place_order
from inventory.services.buying.requirements import require
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from studio.work.digests import Digest
from tests.inventory.buying import a_supplier, an_offer
from tests.inventory.making import KG, TODAY, make_material

MATERIALS = 2_000
LOTS_EACH = 5
ROUNDS = 7
NOW = datetime(TODAY.year, TODAY.month, TODAY.day, 12, tzinfo=UTC)

POSITION = """
WITH held AS (
    SELECT material_id,
        SUM(CASE WHEN status = 'released' AND (best_before IS NULL OR best_before >= %(on)s)
            THEN on_hand ELSE 0 END) AS on_hand,
        SUM(reserved) AS reserved
    FROM inventory_lot WHERE on_hand > 0 GROUP BY material_id
), planned AS (
    SELECT material_id, SUM(amount) AS planned FROM inventory_requirement AS r
    WHERE NOT EXISTS (SELECT 1 FROM inventory_reservation AS v
        WHERE v.holder = r.holder AND v.state = 'open') GROUP BY material_id
), ordered AS (
    SELECT l.material_id, SUM(l.amount - l.received) AS on_order
    FROM inventory_purchaseorderline AS l JOIN inventory_purchaseorder AS o ON o.id = l.order_id
    WHERE o.state = 'placed' AND l.amount > l.received GROUP BY l.material_id
), known AS (
    SELECT m.id, m.code, m.name, m.reorder_point,
        COALESCE(on_hand, 0) AS on_hand, COALESCE(reserved, 0) AS reserved,
        COALESCE(planned, 0) AS planned, COALESCE(on_order, 0) AS on_order,
        COALESCE(on_hand, 0) - COALESCE(reserved, 0) - COALESCE(planned, 0)
            + COALESCE(on_order, 0) AS projected
    FROM inventory_material AS m
    LEFT JOIN held ON held.material_id = m.id
    LEFT JOIN planned ON planned.material_id = m.id
    LEFT JOIN ordered ON ordered.material_id = m.id
    WHERE m.active AND m.low_stock_alerts
), low AS (SELECT * FROM known WHERE projected <= reorder_point)
"""
FOLLOWED = ("projected", "on_hand", "planned", "on_order")
#: In one column, as the alerts keep them; JSON_TYPE is the type of that column.
FIGURES = (
    "CAST("
    + " || ".join(
        [
            *("'{\"projected\": '", "low.projected", "', \"on_hand\": '", "low.on_hand"),
            *("', \"planned\": '", "low.planned", "', \"on_order\": '", "low.on_order", "'}'"),
        ]
    )
    + " AS JSON_TYPE)"
)
CLOSE = f"""{POSITION}
UPDATE inventory_alert SET closed_at = %(now)s
WHERE closed_at IS NULL AND kind = 'low-stock' AND material_id NOT IN (SELECT id FROM low)"""
UPDATE = f"""{POSITION}
UPDATE inventory_alert SET figures = {FIGURES}, updated_at = %(now)s
FROM low WHERE closed_at IS NULL AND kind = 'low-stock' AND material_id = low.id
    AND inventory_alert.figures <> {FIGURES}"""
OPEN = f"""{POSITION}
INSERT INTO inventory_alert (kind, subject, name, material_id, opened_at, updated_at, figures,
    reason)
SELECT 'low-stock', 'material:' || code, name, id, %(now)s, %(now)s, {FIGURES}, name
FROM low WHERE NOT EXISTS (SELECT 1 FROM inventory_alert AS a
    WHERE a.kind = 'low-stock' AND a.material_id = low.id AND a.closed_at IS NULL)"""


@transaction.atomic
def plain_sql():
    """What the job does, in three statements."""
    with connection.cursor() as cursor:
        for statement in (CLOSE, UPDATE, OPEN):
            kind = "jsonb" if connection.vendor == "postgresql" else "text"
            cursor.execute(statement.replace("JSON_TYPE", kind), {"on": TODAY, "now": NOW})


def forget():
    Alert.objects.all().delete()
    Digest.objects.all().delete()


@pytest.fixture
def low_stock_alone():
    """The SQL looks for nothing else, so the round must not either."""
    others = [cause for cause in alert_registry.CAUSES if cause.kind != "low-stock"]
    for cause in others:
        alert_registry.CAUSES.unregister(cause.kind)
    yield
    for cause in others:
        alert_registry.CAUSES.register(cause)


@pytest.fixture
def a_large_shelf(database, low_stock_alone):
    """2,000 materials with 5 lots each; every tenth runs low, every second is planned for."""
    with transaction.atomic():
        materials = [
            make_material(f"m-{n:04}", reorder_point=(60 if n % 10 == 0 else 2) * KG)
            for n in range(MATERIALS)
        ]
        open_lots(
            [
                NewLot(
                    material=material,
                    amount=4 * KG,
                    cost=100,
                    received_on=TODAY,
                    best_before=TODAY + timedelta(days=lot - 1),
                )
                for material in materials
                for lot in range(LOTS_EACH)
            ],
            verb=Verb.RECEIVE,
            origin=Origin(reference="benchmark"),
        )
        for number in range(100):
            needs = {m.pk: KG // 10 for m in materials[number * 10 : number * 10 + 10]}
            require(needs, holder=f"batch:{number}", due_on=TODAY)
        supplier = a_supplier()
        offers = [an_offer(supplier, material, "5 kg") for material in materials[:200:2]]
        lines = [OrderedLine(offer=offer.code, packs=1) for offer in offers]
        place_order(Ordered(supplier=supplier.code, ordered_on=TODAY, lines=lines))
    with connection.cursor() as cursor:
        # The planner must know the size of the tables, as it does in a studio at work.
        cursor.execute("ANALYZE")
    assert Material.objects.count() == MATERIALS and PurchaseOrder.objects.count() == 1
    return database.name


def found():
    return {
        (a.material_id, *(a.figures[name] for name in FOLLOWED))
        for a in Alert.objects.filter(kind="low-stock", closed_at__isnull=True)
    }


def best_of(work, setup):
    times = []
    for _ in range(ROUNDS):
        setup()
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


@pytest.mark.parametrize("case", ["all alerts are new", "nothing has changed"])
def test_the_job_beside_plain_sql(a_large_shelf, benchmark, capsys, case):
    def job():
        raise_alerts(now=NOW)

    forget()
    plain_sql()
    by_sql = found()
    setup = forget if case == "all alerts are new" else lambda: None
    sql_seconds = best_of(plain_sql, setup)
    forget()
    job()
    assert found() == by_sql and len(by_sql) == MATERIALS // 10
    benchmark.pedantic(job, setup=setup, rounds=ROUNDS)
    seconds = benchmark.stats.stats.min
    benchmark.extra_info.update(sql_seconds=sql_seconds, ratio=seconds / sql_seconds)
    with capsys.disabled():
        print(  # noqa: T201 - the ratio is what the benchmark is run for
            f"\nround of alerts, {MATERIALS} materials on {a_large_shelf}, {case}: "
            f"{seconds * 1000:.1f} ms, plain SQL {sql_seconds * 1000:.1f} ms, "
            f"ratio {seconds / sql_seconds:.2f}"
        )
