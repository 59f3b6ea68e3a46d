"""The projection of 2,000 materials over 180 days beside the least it could take.

Run with: python -m pytest tests/benchmarks/bench_projection.py -s
The floor of the computation is a plain sum of the same flows with numpy that forecasts nothing
and lets nothing expire; beside it stands the whole of it in plain Python for every twentieth
material. The floor of the reading is the same rows by plain SQL.
"""

import time
from datetime import timedelta

import numpy as np
import pytest
from django.db import connection, transaction

from inventory.domain.buying.backtest import forecast_all
from inventory.domain.buying.stock_projection import NEVER, Flow, Outlook, Supply, project_stock
from inventory.domain.stock.ledger import Verb
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.queries.buying.projection import project_materials
from inventory.services.buying.orders import Ordered, OrderedLine, place_order
from inventory.services.buying.requirements import require
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from tests.inventory.buying import a_supplier, an_offer
from tests.inventory.making import KG, TODAY, make_material
from tests.inventory.using import noon

MATERIALS, DAYS, LOTS_EACH, ROUNDS = 2_000, 180, 5, 5
EVERY = 20


def best_of(work, rounds=ROUNDS):
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def random_outlook():
    """Five lots and two arrivals a material, some demand on every third day."""
    random = np.random.default_rng(7)

    def flow(each, last):
        row = np.repeat(np.arange(MATERIALS), each)
        amount = random.integers(1, 20, len(row)) * KG
        return Flow(row, random.integers(0, last, len(row)), amount)

    lots, coming = flow(LOTS_EACH, 1), flow(2, DAYS)
    ends = random.integers(20, 400, len(lots.row))
    demand = random.integers(0, 5, (MATERIALS, DAYS)) * (random.random((MATERIALS, DAYS)) < 1 / 3)
    return Outlook(
        rows=MATERIALS,
        days=DAYS,
        on_hand=Supply(lots, ends),
        arriving=Supply(coming, np.full(len(coming.row), NEVER)),
        demand=(demand * KG).astype(np.int64),
    )


def plain_sums(outlook):
    """On hand and arrivals less demand, added up: nothing expires."""
    flows = -outlook.demand.copy()
    for supply in (outlook.on_hand, outlook.arriving):
        np.add.at(flows, (supply.flow.row, supply.flow.day), supply.flow.amount)
    return np.cumsum(flows, axis=1)


def plain_python(outlook, material):
    """One material day by day, lot by lot."""
    lots, coming = [], {}
    for supply in (outlook.on_hand, outlook.arriving):
        for index in np.flatnonzero(supply.flow.row == material):
            lot = [int(supply.last_day[index]), int(supply.flow.amount[index])]
            coming.setdefault(int(supply.flow.day[index]), []).append(lot)
    missing, balances = 0, []
    for day, needed in enumerate(outlook.demand[material].tolist()):
        lots = sorted([lot for lot in lots if lot[0] >= day] + coming.get(day, []))
        missing += needed
        for lot in lots:
            taken = min(lot[1], missing)
            lot[1] -= taken
            missing -= taken
        balances.append(sum(amount for _, amount in lots) - missing)
    return balances


def test_the_computation_beside_plain_sums(benchmark, capsys):
    outlook = random_outlook()
    found = project_stock(outlook)
    chosen = range(0, MATERIALS, EVERY)
    assert [found.balance[n].tolist() for n in chosen] == [plain_python(outlook, n) for n in chosen]
    benchmark.pedantic(project_stock, args=(outlook,), rounds=ROUNDS)
    ours = benchmark.stats.stats.min
    floor = best_of(lambda: plain_sums(outlook))
    python = best_of(lambda: [plain_python(outlook, n) for n in chosen], rounds=1) * EVERY
    benchmark.extra_info.update(floor_seconds=floor, ratio=ours / floor, python_seconds=python)
    with capsys.disabled():
        print(  # noqa: T201
            f"\n{MATERIALS} materials x {DAYS} days, first expired first: {ours * 1000:.0f} ms; "
            f"plain numpy sums without expiry {floor * 1000:.1f} ms: {ours / floor:.0f} times; "
            f"plain Python lot by lot {python * 1000:.0f} ms: {python / ours:.0f} times slower"
        )


def test_forecasts_beside_one_mean(benchmark, capsys):
    random = np.random.default_rng(3)
    history = (random.poisson(0.6, (MATERIALS, 104)) * KG).astype(np.float64)
    started = random.integers(0, 60, MATERIALS)
    benchmark.pedantic(forecast_all, args=(history, started), kwargs={"season": 52}, rounds=ROUNDS)
    ours = benchmark.stats.stats.min
    floor = best_of(lambda: history.mean(axis=1))
    with capsys.disabled():
        print(  # noqa: T201
            f"\n{MATERIALS} materials, 104 weeks, 9 methods back-tested: {ours * 1000:.0f} ms; "
            f"one numpy mean {floor * 1000:.2f} ms"
        )


READ = (
    "SELECT id, code, reorder_point FROM inventory_material WHERE active ORDER BY code",
    """SELECT material_id, best_before, SUM(on_hand), SUM(reserved) FROM inventory_lot
    WHERE on_hand > 0 GROUP BY material_id, best_before""",
    "SELECT material_id, due_on, amount FROM inventory_requirement",
    """SELECT l.material_id, o.expected_on, SUM(l.amount - l.received)
    FROM inventory_purchaseorderline AS l JOIN inventory_purchaseorder AS o ON o.id = l.order_id
    WHERE o.state = 'placed' AND l.amount > l.received GROUP BY l.material_id, o.expected_on""",
    """SELECT l.material_id, e.at, e.on_hand FROM inventory_stockentry AS e
    JOIN inventory_lot AS l ON l.id = e.lot_id WHERE e.verb IN ('consume', 'ship')""",
    "SELECT material_id, MIN(created_at) FROM inventory_lot GROUP BY material_id",
)


def plain_sql():
    with connection.cursor() as cursor:
        for statement in READ:
            cursor.execute(statement)
            cursor.fetchall()


@pytest.fixture
def a_large_shelf(database):
    """2,000 materials with 5 lots each, used every second week of a year; some are ordered."""
    with transaction.atomic():
        materials = [make_material(f"m-{n:04}", reorder_point=KG) for n in range(MATERIALS)]
        new = [
            NewLot(
                material=material,
                amount=60 * KG,
                cost=100,
                received_on=TODAY,
                best_before=TODAY + timedelta(days=40 * lot + 20),
            )
            for material in materials
            for lot in range(LOTS_EACH)
        ]
        lots = open_lots(new, verb=Verb.RECEIVE, origin=Origin(reference="benchmark"))
        Lot.objects.update(created_at=noon(TODAY - timedelta(days=364)))
        use_in_the_past([lot.pk for lot in lots[::LOTS_EACH]])
        for number in range(100):
            needs = {m.pk: KG // 10 for m in materials[number * 10 : number * 10 + 10]}
            require(needs, holder=f"batch:{number}", due_on=TODAY + timedelta(days=number))
        supplier = a_supplier()
        offers = [an_offer(supplier, material, "5 kg") for material in materials[:200:2]]
        lines = [OrderedLine(offer=offer.code, packs=1) for offer in offers]
        place_order(Ordered(supplier=supplier.code, ordered_on=TODAY, lines=lines))
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return database.name


def use_in_the_past(lots):
    """26 uses of each of these lots, written in bulk below the ledger, on past days."""
    days = [noon(TODAY - timedelta(days=14 * n + 3)) for n in range(26)]
    entries = [
        StockEntry(lot_id=pk, verb=Verb.CONSUME.value, on_hand=-KG * (1 + pk % 3), at=at)
        for at in days
        for pk in lots
    ]
    at = StockEntry._meta.get_field("at")
    at.auto_now_add = False  # the time of a past day, not of now
    try:
        StockEntry.objects.bulk_create(entries, batch_size=2_000)
    finally:
        at.auto_now_add = True


def test_the_whole_projection_beside_reading_alone(a_large_shelf, benchmark, capsys):
    def project():
        return project_materials(on=TODAY, days=DAYS)

    found = project()
    assert found.stock.balance.shape == (MATERIALS, DAYS)
    assert found.forecast.sum() > 0 and found.on_order.sum() == 500 * KG
    benchmark.pedantic(project, rounds=ROUNDS)
    ours = benchmark.stats.stats.min
    floor = best_of(plain_sql)
    benchmark.extra_info.update(sql_seconds=floor, ratio=ours / floor)
    with capsys.disabled():
        print(  # noqa: T201
            f"\nprojection of {MATERIALS} materials x {DAYS} days on {a_large_shelf}, "
            f"{MATERIALS * 26} uses: {ours * 1000:.0f} ms, plain SQL reads {floor * 1000:.0f} ms, "
            f"ratio {ours / floor:.2f}"
        )
