"""The life of a batch through the services, on both databases."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.domain.stock.lots import LotState
from inventory.errors import NotEnoughStock
from inventory.models.buying.requirements import Requirement
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.queries.stock.candidates import ChosenLot
from inventory.services.stock.proof import prove_books
from recipes.errors import BatchConflict, FormulaRefusal, LyeHeavy
from recipes.models.bench.batches import Batch, BatchLine
from recipes.services.bench.batches import cancel_batch, reserve_batch, unreserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from recipes.services.formulas.formulas import VersionSpec, rewrite_version
from tests.inventory.making import KG, TODAY, make_lot
from tests.inventory.services.stock.test_reservations import statements
from tests.recipes.making import make_bench, planned, stock


def line_of(batch, code):
    return BatchLine.objects.get(batch=batch, material__code=code)


def test_a_batch_goes_from_the_plan_to_released_bars_with_its_cost(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    assert batch.bars_planned == 8
    assert {r.material.code for r in Requirement.objects.all()} == set(bench.materials)
    reserve_batch(batch.code)
    poured = pour_batch(batch.code, Poured(on=TODAY, minutes=40))
    used = sum(take.cost for take in poured.taken)
    assert (poured.lot.cost, poured.lot.state) == (used, LotState.QUARANTINE.value)
    assert poured.safety is not None and poured.safety.superfat >= Decimal("0.06")
    cut_batch(batch.code, Cut(on=TODAY + timedelta(days=1), bars_good=7, bars_rejected=1))
    bars = Lot.objects.get(code=batch.code)
    assert (bars.on_hand, bars.cost, bars.state) == (7, used, LotState.QUARANTINE.value)
    cured = cure_batch(batch.code, Cured(on=TODAY + timedelta(days=28), minutes=20))
    bars.refresh_from_db()
    boxes = Lot.objects.get(material__code="box")
    assert (boxes.on_hand, boxes.reserved) == (93, 0)
    assert (bars.state, bars.cost) == (LotState.RELEASED.value, used + 50_000 - boxes.cost)
    assert (cured.state, cured.minutes) == ("cured", 60)
    assert not Requirement.objects.exists()
    assert prove_books().differences == ()


@pytest.mark.parametrize("extra", [0, 44])
def test_reserving_a_batch_takes_eight_queries_however_many_lines(database, extra):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    for number in range(extra):
        material = make_bench_material(number)
        BatchLine.objects.create(
            batch=batch, position=100 + number, material=material, stage="pack", planned=KG
        )
    with CaptureQueriesContext(connection) as captured:
        reserve_batch(batch.code)
    assert len(statements(captured.captured_queries)) <= 8


def make_bench_material(number):
    from tests.inventory.making import make_material

    material = make_material(f"extra-{number}")
    make_lot(material, 2 * KG)
    return material


def test_a_shortage_leaves_the_batch_planned_and_nothing_held(database):
    bench = make_bench()
    stock(bench, amount=KG // 100)
    batch = planned(bench)
    with pytest.raises(NotEnoughStock) as refused:
        reserve_batch(batch.code)
    assert {f.details["material"] for f in refused.value.faults} == set(SHORT)
    batch.refresh_from_db()
    assert (batch.state, batch.reservation) == ("planned", None)
    assert not StockEntry.objects.filter(verb="reserve").exists()


SHORT = ("olive", "coconut", "naoh", "water", "scent")


def test_lots_with_a_low_certificate_make_a_plan_lye_heavy_and_it_is_refused(database):
    bench = make_bench()
    stock(bench)
    low = make_lot(bench.materials["olive"], 5 * KG, sv_mg_koh_g=Decimal(160))
    batch = planned(bench, on=TODAY)
    with pytest.raises(LyeHeavy):
        reserve_batch(batch.code, chosen={low.material_id: [ChosenLot(code=low.code)]})
    batch.refresh_from_db()
    assert batch.state == "planned"
    reserve_batch(batch.code)


def test_a_lye_heavy_pour_is_recorded_and_its_bars_are_blocked(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    naoh = line_of(batch, "naoh")
    poured = pour_batch(batch.code, Poured(on=TODAY, actual={naoh.position: naoh.planned * 6 // 5}))
    assert poured.safety.superfat < 0
    assert poured.lot.state == LotState.BLOCKED.value
    cut_batch(batch.code, Cut(on=TODAY, bars_good=8))
    with pytest.raises(BatchConflict, match="held beside their cure: Lye-heavy"):
        cure_batch(batch.code, Cured(on=TODAY + timedelta(days=90)))
    assert prove_books().differences == ()


def test_actual_weights_and_another_lot_keep_both_books_right(database):
    bench = make_bench()
    stock(bench)
    other = make_lot(bench.materials["olive"], 5 * KG, 77_777)
    batch = planned(bench)
    reserve_batch(batch.code)
    olive = line_of(batch, "olive")
    chosen = {olive.material_id: [ChosenLot(code=other.code, amount=olive.planned + KG // 500)]}
    pour_batch(
        batch.code,
        Poured(on=TODAY, actual={olive.position: olive.planned + KG // 500}, chosen=chosen),
    )
    first = Lot.objects.get(material=olive.material, cost=50_000)
    other.refresh_from_db()
    assert (first.on_hand, first.reserved) == (5 * KG, 0)
    assert other.on_hand == 5 * KG - olive.planned - KG // 500
    assert prove_books().differences == ()


def test_cancelling_gives_everything_back(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    cancel_batch(batch.code, reason="no market")
    assert not Lot.objects.filter(reserved__gt=0).exists()
    assert not Requirement.objects.exists()
    with pytest.raises(BatchConflict):
        reserve_batch(batch.code)


def test_a_batch_given_back_can_be_reserved_again(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    unreserve_batch(batch.code)
    assert Requirement.objects.count() == len(bench.materials)
    assert reserve_batch(batch.code).batch.state == "reserved"


def test_a_used_version_is_frozen(database):
    bench = make_bench()
    planned(bench)
    bench.version.refresh_from_db()
    with pytest.raises(FormulaRefusal, match="frozen"):
        rewrite_version(bench.version, VersionSpec(lines=[]))


def test_bars_are_released_early_only_with_a_reason(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY))
    cut_batch(batch.code, Cut(on=TODAY, bars_good=8))
    early = TODAY + timedelta(days=27)
    with pytest.raises(BatchConflict, match="cure"):
        cure_batch(batch.code, Cured(on=early))
    cure_batch(batch.code, Cured(on=early, early_reason="sample for a shop"))
    assert Batch.objects.get(code=batch.code).state == "cured"


def test_a_cut_without_good_bars_writes_the_soap_off(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    poured = pour_batch(batch.code, Poured(on=TODAY)).lot
    cut_batch(batch.code, Cut(on=TODAY, bars_good=0, bars_rejected=8))
    poured.refresh_from_db()
    assert (poured.on_hand, poured.cost) == (0, 0)
    assert prove_books().differences == ()
