"""Entering the past is easy: lots are picked and judged as they were on the day of use."""

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.errors import DayRefusal, LotNotUsable, NotEnoughStock
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.receiving.receipt_day import correct_day_of_receipt
from inventory.services.stock.certificates import certify_lot
from recipes.models.bench.batches import Batch
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.levels.multilevel import reserve_planned, reserve_tree
from tests.inventory.making import KG, make_lot
from tests.recipes.making import make_bench, planned

#: How many days ago the lots came in, the batch was made, and the first oil was over.
CAME, MADE, OVER = 90, 60, 30


def ago(days):
    return timezone.localdate() - timedelta(days=days)


@pytest.fixture
def bench(database):
    """All came in long ago; the olive oil of then is over since, and a new one came later."""
    made = make_bench()
    for material in made.materials.values():
        if material.code != "olive":
            make_lot(material, 100 if material.counted else 5 * KG, received_on=ago(CAME))
    olive = made.materials["olive"]
    make_lot(olive, 5 * KG, received_on=ago(CAME), best_before=ago(OVER), code="oil-then")
    return made


def new_oil(bench, amount=5 * KG):
    make_lot(bench.materials["olive"], amount, received_on=ago(MADE - 1), code="oil-now")


def olive_of(held):
    return {lot.code for lot, _ in held.lots if lot.code.startswith("oil")}


def test_a_batch_of_a_past_day_is_made_of_what_was_fresh_then(bench):
    batch = planned(bench, on=ago(MADE))
    assert olive_of(reserve_batch(batch.code).held) == {"oil-then"}
    pour_batch(batch.code, Poured(on=ago(MADE)))
    used = StockEntry.objects.filter(lot__code="oil-then", verb="consume")
    assert [entry.on for entry in used] == [ago(MADE)]
    assert Batch.objects.get(code=batch.code).poured_on == ago(MADE)


@pytest.mark.parametrize("reserve", [reserve_batch, reserve_planned])
@pytest.mark.parametrize("reset_lye", [False, True])
def test_a_late_batch_takes_what_is_fresh_today_unless_it_is_said_when_it_was_made(
    bench, reserve, reset_lye
):
    new_oil(bench)
    how = {"reset_lye": reset_lye} if reserve is reserve_planned else {}
    late, past = (planned(bench, on=ago(MADE)) for _ in range(2))
    assert olive_of(reserve(late.code, **how).held) == {"oil-now"}
    assert olive_of(reserve(past.code, on=ago(MADE), **how).held) == {"oil-then"}


def test_a_tree_is_reserved_for_its_day_too(bench):
    new_oil(bench)
    batch = planned(bench, on=ago(MADE))
    (held,) = reserve_tree(batch.code, on=ago(MADE))
    assert olive_of(held.held) == {"oil-then"}


def test_what_came_in_later_is_held_but_not_used_before(bench):
    new_oil(bench)
    batch = planned(bench, on=ago(MADE))
    reserve_batch(batch.code)
    with pytest.raises(DayRefusal) as refused:
        pour_batch(batch.code, Poured(on=ago(MADE)))
    assert [fault.details["lot"] for fault in refused.value.faults] == ["oil-now"]
    assert Batch.objects.get(code=batch.code).state == "reserved"
    correct_day_of_receipt("oil-now", ago(MADE), reason="it stood there already")
    pour_batch(batch.code, Poured(on=ago(MADE)))


def test_what_is_over_on_the_day_of_use_is_not_used_although_it_was_held(bench):
    batch = planned(bench, on=ago(MADE))
    reserve_batch(batch.code)
    with pytest.raises(LotNotUsable, match="best before") as refused:
        pour_batch(batch.code, Poured(on=ago(OVER - 1)))
    assert refused.value.faults[0].details["lot"] == "oil-then"
    certify_lot(Lot.objects.get(code="oil-then").pk, {"best_before": ago(0)})
    pour_batch(batch.code, Poured(on=ago(OVER - 1)))


def test_with_too_little_on_both_days_the_shortage_of_today_is_told(bench):
    Lot.objects.filter(code="oil-then").update(best_before=ago(MADE + 1))
    new_oil(bench, amount=KG // 100)
    batch = planned(bench, on=ago(MADE))
    with pytest.raises(NotEnoughStock) as refused:
        reserve_batch(batch.code)
    assert [fault.details["available"] for fault in refused.value.faults] == ["10"]


def test_more_than_was_held_is_picked_as_of_the_day_of_use(bench):
    new_oil(bench)
    batch = planned(bench, on=ago(MADE))
    reserve_batch(batch.code, on=ago(MADE))
    row = batch.lines.get(material__code="olive")
    used = row.planned + KG
    taken = pour_batch(batch.code, Poured(on=ago(MADE), actual={row.position: used})).taken
    assert {take.lot.code: take.amount for take in taken if "oil" in take.lot.code} == {
        "oil-then": used
    }
