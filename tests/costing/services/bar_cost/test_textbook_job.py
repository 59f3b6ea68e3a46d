"""The job of a textbook, made as a batch: the whole product says what it cost."""

from datetime import timedelta

from costing.domain.bar_cost.bar_cost import CostKind
from costing.domain.rates.rates import RateKind
from costing.queries.bar_cost.batches import cost_of_batch
from inventory.models.stock.lots import Lot
from inventory.services.stock.proof import prove_books
from recipes.models.bench.batches import BatchLine
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from tests.costing.making import UNIT, make_rate
from tests.inventory.making import TODAY, make_lot
from tests.recipes.making import make_bench, planned

#: Materials that the job took, and labor by its three tickets, in dollars as printed.
MATERIALS = (300, 100, 60, 60, 120, 60)
MIXING, CUTTING, WRAPPING = 15, 15, 36
HOURLY = 12  # ours: the book prints what the tickets cost, and not for how long


def minutes(dollars):
    return dollars * 60 // HOURLY


def test_job_cost_with_overhead_in_proportion_to_labor(database):
    """OpenStax, Principles of Accounting, Volume 2: Managerial Accounting, 4.4 and 4.5.

    Overhead of 250,000 over labor of 100,000 is 2.50 a dollar of labor. The job takes 700 of
    materials and 66 of labor, bears 165 of overhead and costs 931.
    """
    bench = make_bench()
    make_rate(RateKind.LABOR_HOUR, HOURLY * UNIT)
    make_rate(RateKind.OVERHEAD_LABOR_HOUR, 250_000 * UNIT * HOURLY // 100_000)
    make_rate(RateKind.OVERHEAD_BATCH, 0)  # the book bears all of it by labor
    batch = planned(bench)
    rows = BatchLine.objects.filter(batch=batch).select_related("material").order_by("position")
    for row, cost in zip(rows, MATERIALS, strict=True):
        make_lot(row.material, row.planned, cost * UNIT)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY, minutes=minutes(MIXING)))
    next_day = TODAY + timedelta(days=1)
    cut_batch(batch.code, Cut(on=next_day, bars_good=8, minutes=minutes(CUTTING)))
    cure_batch(batch.code, Cured(on=TODAY + timedelta(days=28), minutes=minutes(WRAPPING)))

    cost = cost_of_batch(batch.code).cost
    assert cost.of(CostKind.MATERIAL) + cost.of(CostKind.PACKAGING) == 700 * UNIT
    labor = {line.code: line.cost for line in cost.lines if line.kind is CostKind.LABOR}
    assert labor == {
        "labor-mix": MIXING * UNIT,
        "labor-cut": CUTTING * UNIT,
        "labor-wrap": WRAPPING * UNIT,
    }
    assert cost.of(CostKind.OVERHEAD) == 165 * UNIT
    assert cost.total == Lot.objects.get(code=batch.code).cost == 931 * UNIT
    assert prove_books().holds
