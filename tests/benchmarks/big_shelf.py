"""A big shelf, written in bulk: 20,000 lots with their entries, and books that are proved."""

import statistics
import time
from datetime import timedelta

from inventory.domain.stock.ledger import Verb
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from tests.inventory.making import KG, TODAY, make_material

MATERIALS = 50
LOTS_EACH = 400
ROUNDS = 40


def fill_shelf(*, history=0):
    """Materials with 400 open lots each; `history` more pairs of entries on every lot."""
    materials = [make_material() for _ in range(MATERIALS)]
    lots = [
        Lot(
            code=f"{material.code}-{n}",
            material=material,
            received_on=TODAY + timedelta(days=n % 97),
            best_before=None if n % 5 == 0 else TODAY + timedelta(days=30 + n * 37 % 400),
            received_amount=KG,
            on_hand=KG,
            cost=10_000 + n,
        )
        for material in materials
        for n in range(LOTS_EACH)
    ]
    Lot.objects.bulk_create(lots, batch_size=1000)
    entries = [
        StockEntry(lot=lot, verb=Verb.RECEIVE.value, on_hand=KG, cost=lot.cost) for lot in lots
    ]
    for _ in range(history):
        for verb, on_hand, cost in ((Verb.SPOIL, -7, -1), (Verb.COUNT, 7, 1)):
            entries += [
                StockEntry(lot=lot, verb=verb.value, on_hand=on_hand, cost=cost) for lot in lots
            ]
    StockEntry.objects.bulk_create(entries, batch_size=2000)
    return materials


def median_seconds(work, rounds=ROUNDS):
    """The median of how long `work(round)` takes."""
    spent = []
    for turn in range(rounds):
        start = time.perf_counter()
        work(turn)
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


def report(benchmark, capsys, database, *, raw):
    """Print the median beside that of raw SQL, and keep both with the benchmark's figures."""
    ours = benchmark.stats.stats.median
    benchmark.extra_info.update(raw_ms=round(raw * 1000, 3), share_of_raw_speed=raw / ours)
    with capsys.disabled():
        print(  # noqa: T201
            f"\n{benchmark.name}: {ours * 1000:.2f} ms, raw SQL on {database.name} "
            f"{raw * 1000:.2f} ms: {raw / ours:.2f} of its speed, {ours / raw:.2f} times its time"
        )
