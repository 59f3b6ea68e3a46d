"""The cost of a made batch agrees with the books at every step, on both databases."""

from datetime import timedelta
from fractions import Fraction

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.domain.bar_cost.bar_cost import CostKind
from costing.domain.rates.rates import RateKind
from costing.errors import BatchNotMade
from costing.queries.bar_cost.batches import cost_of_batch
from inventory.domain.stock.ledger import Verb
from inventory.models.stock.lots import Lot
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.reservations import release
from recipes.models.bench.batches import Batch, BatchLine
from recipes.services.cure.finishing import Cured, cure_batch
from studio.foundation.errors import NotFound
from tests.costing.making import (
    LABOR,
    PER_BATCH,
    PER_HOUR,
    cured,
    cut,
    make_rate,
    make_rates,
    poured,
    put_on,
)
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.recipes.making import make_bench, planned, stock


@pytest.fixture
def bench(database):
    made = make_bench()
    stock(made)
    make_rates()
    return made


def test_a_cured_batch_costs_what_the_ledger_put_on_its_bars(bench):
    code = cured(bench, good=7, rejected=1)
    costing = cost_of_batch(code)
    bars = Lot.objects.get(code=code)
    assert costing.cost.total == bars.cost == put_on(bars)
    assert costing.cost.of(CostKind.LABOR) == LABOR
    assert costing.cost.of(CostKind.OVERHEAD) == PER_BATCH + PER_HOUR
    assert not costing.provisional and costing.notes == ()


def test_the_cost_stays_when_bars_are_sold(bench):
    code = cured(bench)
    before = cost_of_batch(code)
    draw(Lot.objects.get(code=code).pk, 3, verb=Verb.SHIP, origin=Origin(reference="order:1"))
    assert cost_of_batch(code) == before


def test_the_cost_of_a_bar_is_broken_down_and_adds_up(bench):
    costing = cost_of_batch(cured(bench, good=7, rejected=1))
    assert costing.bar.exact == Fraction(costing.cost.total, 7)
    assert costing.bar.per_bar == round(costing.bar.exact)
    assert sum(line.per_bar for line in costing.bar.lines) == costing.bar.per_bar
    assert [part.line for part in costing.bar.lines] == list(costing.cost.lines)


def test_each_lot_is_told_with_its_own_landed_cost(bench):
    """IAS 2.23: what is not interchangeable is costed by the very lot."""
    soon = timezone.localdate() + timedelta(days=30)
    dear = make_lot(bench.materials["olive"], KG // 10, 90_000, best_before=soon)
    costing = cost_of_batch(poured(bench))
    olive = {line.origin: line for line in costing.cost.lines if line.code == "olive"}
    assert len(olive) == 2
    assert (olive[dear.code].cost, olive[dear.code].quantity) == (90_000, KG // 10)


def test_normal_rejects_raise_the_cost_of_the_good_bars(database):
    """IAS 2.16 keeps abnormal waste out of cost; the usual rejects stay in it."""
    bench = make_bench()
    stock(bench)
    make_rates()
    all_good = cost_of_batch(cut(bench, good=8))
    some_bad = cost_of_batch(cut(bench, good=6, rejected=2))
    made = (CostKind.MATERIAL, CostKind.LABOR, CostKind.OVERHEAD)
    assert [some_bad.cost.of(kind) for kind in made] == [all_good.cost.of(kind) for kind in made]
    assert some_bad.bar.per_bar > all_good.bar.per_bar
    assert some_bad.bar.abnormal_loss == 0


@pytest.mark.parametrize("step", [poured, cut])
def test_before_the_cure_packaging_and_labor_are_told_as_planned(bench, step):
    costing = cost_of_batch(step(bench))
    assert costing.provisional
    labor = [line for line in costing.cost.lines if line.kind is CostKind.LABOR]
    # 40 minutes of mixing are done; the rest of the version's 90 is not told apart.
    assert [(line.code, line.quantity) for line in labor] == [("labor-mix", 40), ("labor", 50)]
    assert costing.cost.of(CostKind.LABOR) == LABOR * 3 // 2
    (boxes,) = [line for line in costing.cost.lines if line.kind is CostKind.PACKAGING]
    assert (boxes.quantity, boxes.cost, boxes.unit) == (8, 4_000, "each")
    assert costing.bars == 8


def test_what_was_expected_is_what_it_costs_when_nothing_differs(bench):
    code = cut(bench, good=7, rejected=1)
    expected = cost_of_batch(code)
    cure_batch(code, Cured(on=TODAY + timedelta(days=28), minutes=50))  # 40 at the pour
    made = cost_of_batch(code)
    assert [made.cost.of(kind) for kind in CostKind] == [expected.cost.of(k) for k in CostKind]
    assert made.bar.per_bar == expected.bar.per_bar


def test_labor_beyond_the_plan_counts_as_it_was(bench):
    costing = cost_of_batch(poured(bench, minutes=200))
    assert costing.cost.of(CostKind.LABOR) == LABOR * 200 // 60


def test_packaging_that_is_not_held_is_named_and_not_guessed(bench):
    code = cut(bench)
    release(Batch.objects.get(code=code).reservation_id)
    costing = cost_of_batch(code)
    assert (costing.cost.of(CostKind.PACKAGING), costing.bar.per_bar) == (None, None)
    assert costing.cost.known_of(CostKind.PACKAGING) == 0
    assert any("Box: 8 each" in note for note in costing.notes)


def test_a_batch_without_a_good_bar_is_a_loss_and_has_no_cost_per_bar(bench):
    costing = cost_of_batch(cut(bench, good=0, rejected=8))
    assert costing.bar is None and not costing.provisional
    assert any("loss" in note for note in costing.notes)
    assert costing.cost.of(CostKind.PACKAGING) == 0


def test_missing_rates_are_named_while_it_cures(database):
    bench = make_bench()
    stock(bench)
    make_rate(RateKind.OVERHEAD_BATCH, PER_BATCH)
    costing = cost_of_batch(cut(bench))
    assert costing.cost.of(CostKind.OVERHEAD) is None and costing.bar.per_bar is None
    assert costing.cost.known_of(CostKind.OVERHEAD) == PER_BATCH
    assert [("labor hour" in n, "overhead batch" in n) for n in costing.notes] == [(True, False)]


def test_a_planned_batch_has_cost_nothing_yet(bench):
    with pytest.raises(BatchNotMade):
        cost_of_batch(planned(bench).code)
    with pytest.raises(NotFound):
        cost_of_batch("B-99999")


@pytest.mark.parametrize("step", [poured, cut, cured])
def test_the_number_of_queries_is_fixed(bench, step):
    code = step(bench)
    few = queries_of(code)
    batch = Batch.objects.get(code=code)
    for number in range(20):
        material = make_material(f"wrap-{number}", counted=True)
        BatchLine.objects.create(
            batch=batch, position=100 + number, material=material, stage="pack", planned=8
        )
    assert queries_of(code) == few <= 12


def queries_of(code):
    with CaptureQueriesContext(connection) as captured:
        cost_of_batch(code)
    return len(captured.captured_queries)
