"""Out of which lots a line may come, and which lines belong to the lye step."""

from datetime import timedelta

import pytest

from inventory.domain.stock.lots import LotState
from inventory.models.stock.lots import Lot
from recipes.models.bench.batches import Batch, BatchLine
from recipes.queries.bench.batches import batch_by_code
from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.sheets import bench_lots, sheet_of
from recipes.services.bench.shelf import is_lye_line, to_confirm
from tests.inventory.making import KG, TODAY, make_lot
from tests.recipes.making import make_bench, planned, stock
from tests.recipes.services.bench.test_sheets import add_stored

pytestmark = pytest.mark.django_db
G = KG // 1000


def reserved(bench) -> Batch:
    stock(bench, amount=KG)
    batch = planned(bench)
    reserve_batch(batch.code)
    return batch


def lots_for(batch, code):
    row = BatchLine.objects.get(batch=batch, material__code=code)
    lots = bench_lots(sheet_of(batch.code), on=TODAY)
    return row, {lot.code: (lot.open, lot.is_held) for lot in lots.of(row.position)}, lots.unusable


def test_all_that_is_held_or_free_of_a_lot_is_open_to_the_line():
    bench = make_bench()
    batch = reserved(bench)
    second = make_lot(bench.materials["olive"], 200 * G)
    row, lots, _ = lots_for(batch, "olive")
    first = Lot.objects.filter(material=row.material).order_by("id").first()
    assert lots == {first.code: (KG, True), second.code: (200 * G, False)}


def test_what_a_line_took_stays_open_to_it_when_it_is_weighed_again():
    batch = reserved(make_bench())
    row, before, _ = lots_for(batch, "olive")
    weigh_line(batch.code, Reading(position=row.position, amount=row.planned + 5 * G))
    assert lots_for(batch, "olive")[1] == before


@pytest.mark.parametrize(
    "change", [{"state": LotState.BLOCKED.value}, {"best_before": TODAY - timedelta(days=1)}]
)
def test_a_held_lot_that_must_not_be_used_is_named_and_not_offered(change):
    batch = reserved(make_bench())
    Lot.objects.filter(material__code="olive").update(**change)
    _, lots, unusable = lots_for(batch, "olive")
    assert lots == {} and unusable == {Lot.objects.get(material__code="olive").code}


def test_the_lye_step_is_all_that_goes_into_the_lye():
    batch = reserved(make_bench())
    rows = BatchLine.objects.filter(batch=batch).select_related("material")
    assert {row.material.code for row in rows if is_lye_line(row)} == {"naoh", "water"}
    codes = [point.code for point in to_confirm(batch_by_code(batch.code))]
    assert codes[0] == "protect-yourself" and "check-for-crystals" not in codes


def test_a_stored_lye_is_asked_for_crystals():
    bench = make_bench()
    add_stored(bench)
    codes = [point.code for point in to_confirm(batch_by_code(reserved(bench).code))]
    assert codes[-1] == "check-for-crystals"
