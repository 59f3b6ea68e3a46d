"""Proving a big ledger, beside the plain SQL of the same comparison.

python -m pytest tests/benchmarks/bench_proving.py -s
"""

from inventory.services.stock.proof import prove_books
from tests.benchmarks.big_shelf import fill_shelf, median_seconds, report
from tests.benchmarks.raw_reserving import open_raw

HISTORY = 5
PLAIN = """
SELECT lot.code FROM inventory_lot lot
LEFT JOIN (
    SELECT lot_id, SUM(on_hand) AS on_hand, SUM(reserved) AS reserved, SUM(cost) AS cost
    FROM inventory_stockentry GROUP BY lot_id
) entered ON entered.lot_id = lot.id
LEFT JOIN (
    SELECT line.lot_id, SUM(line.remaining) AS held FROM inventory_reservationline line
    JOIN inventory_reservation reservation ON reservation.id = line.reservation_id
    WHERE reservation.state = 'open' GROUP BY line.lot_id
) held ON held.lot_id = lot.id
WHERE lot.on_hand <> COALESCE(entered.on_hand, 0) OR lot.reserved <> COALESCE(entered.reserved, 0)
    OR lot.cost <> COALESCE(entered.cost, 0) OR lot.reserved <> COALESCE(held.held, 0)
"""


def test_proving(database, benchmark, capsys):
    fill_shelf(history=HISTORY)
    proof = benchmark.pedantic(prove_books, rounds=5, warmup_rounds=1)
    assert proof.holds
    assert proof.entries == proof.lots * (1 + 2 * HISTORY)
    with open_raw(database) as raw:
        seconds = median_seconds(lambda _: raw.execute(PLAIN).fetchall(), rounds=5)
    report(benchmark, capsys, database, raw=seconds)
