"""Reserving 12 materials among 20,000 lots, beside the same work in raw SQL.

    python -m pytest tests/benchmarks/bench_reserving.py -s

The books must be proved after both, so that the raw SQL is known to do the same work.
"""

from itertools import count

from django.db import connection

from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import Holding, reserve
from tests.benchmarks.big_shelf import ROUNDS, fill_shelf, median_seconds, report
from tests.benchmarks.raw_reserving import RawReserving, open_raw
from tests.inventory.making import KG, TODAY

LINES = 12


def test_reserving(database, benchmark, capsys):
    materials = fill_shelf()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    needs = {material.pk: KG + KG // 2 for material in materials[:LINES]}
    number = count()
    benchmark.pedantic(
        lambda: reserve(Holding(needs=needs, holder=f"ours:{next(number)}", on=TODAY)),
        rounds=ROUNDS,
        warmup_rounds=3,
    )
    with open_raw(database) as opened:
        raw = RawReserving(opened)
        seconds = median_seconds(lambda turn: raw.reserve(needs, f"raw:{turn}", TODAY))
    report(benchmark, capsys, database, raw=seconds)
    assert prove_books().holds
