"""What is weighed before the pour: the lots follow the scale, and the pour takes what was read."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.domain.stock.holds import Cause, NewHold
from inventory.domain.stock.lots import LotState
from inventory.errors import LotNotUsable, NotForYou
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import ReservationLine
from inventory.queries.stock.candidates import ChosenLot
from inventory.services.stock.holds import hold
from inventory.services.stock.proof import prove_books
from recipes.errors import BatchConflict, WorstNotAccepted
from recipes.models.bench.batches import Batch, BatchLine, Weighing
from recipes.queries.bench.batches import standing_weighings, weighed_amounts
from recipes.services.bench.actuals import BenchRecord, Reading, record_bench, weigh_line
from recipes.services.bench.batches import cancel_batch, reserve_batch, unreserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from studio.foundation.errors import InvalidInput, NotFound
from tests.inventory.making import KG, TODAY, make_lot
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person

G = KG // 1000


def line_of(batch, code):
    return BatchLine.objects.get(batch=batch, material__code=code)


def reserved(bench):
    batch = planned(bench)
    reserve_batch(batch.code)
    return batch


def held(batch):
    lines = ReservationLine.objects.filter(reservation__holder=batch.holder, remaining__gt=0)
    return {line.lot.code: line.remaining for line in lines.select_related("lot")}


def weigh(batch, code, amount, *lots, **values):
    line = line_of(batch, code)
    chosen = [ChosenLot(code=lot, amount=part) for lot, part in lots]
    weigh_line(batch.code, Reading(position=line.position, amount=amount, lots=chosen, **values))
    return line


def test_a_pour_takes_what_was_weighed_and_the_plan_for_the_rest(database):
    bench = make_bench()
    stock(bench)
    batch = reserved(bench)
    olive = weigh(batch, "olive", line_of(batch, "olive").planned + 3 * G)
    pour_batch(batch.code, Poured(on=TODAY))
    rows = {row.position: row for row in BatchLine.objects.filter(batch=batch)}
    assert rows[olive.position].actual == olive.planned + 3 * G
    assert all(
        row.actual == row.planned
        for row in rows.values()
        if row.position != olive.position and row.stage != "pack"
    )
    assert Lot.objects.get(material=olive.material).on_hand == 5 * KG - olive.planned - 3 * G
    assert prove_books().differences == ()


def test_what_is_said_at_the_pour_goes_before_what_was_weighed(database):
    bench = make_bench()
    stock(bench)
    batch = reserved(bench)
    olive = weigh(batch, "olive", line_of(batch, "olive").planned - G)
    pour_batch(batch.code, Poured(on=TODAY, actual={olive.position: olive.planned}))
    assert line_of(batch, "olive").actual == olive.planned
    assert prove_books().differences == ()


def test_a_swap_holds_the_other_lot_at_once_and_frees_the_first(database):
    bench = make_bench()
    stock(bench)
    other = make_lot(bench.materials["olive"], KG, 10_000)
    batch = reserved(bench)
    first = Lot.objects.exclude(pk=other.pk).get(material=other.material)
    line = weigh(batch, "olive", 400 * G, (other.code, 300 * G), (first.code, 100 * G))
    assert {code: n for code, n in held(batch).items() if code in (first.code, other.code)} == {
        other.code: 300 * G,
        first.code: 100 * G,
    }
    other.refresh_from_db()
    assert (other.on_hand, other.reserved) == (KG, 300 * G)
    pour_batch(batch.code, Poured(on=TODAY))
    other.refresh_from_db()
    first.refresh_from_db()
    assert (other.on_hand, other.reserved) == (700 * G, 0)
    assert (first.on_hand, first.reserved) == (5 * KG - 100 * G, 0)
    assert line_of(batch, "olive").actual == 400 * G and line.planned != 400 * G
    assert prove_books().differences == ()


def test_weighing_anew_replaces_the_reading_and_keeps_it_in_the_record(database):
    bench = make_bench()
    stock(bench)
    batch = reserved(bench)
    for amount in (100 * G, 200 * G):
        line = weigh(batch, "olive", amount, written="as read")
    assert weighed_amounts(standing_weighings(batch.pk)) == {line.position: 200 * G}
    set_aside = Weighing.objects.get(line=line, set_aside_at__isnull=False)
    assert (set_aside.amount, set_aside.written) == (100 * G, "as read")
    assert held(batch)[Lot.objects.get(material=line.material).code] == 200 * G


def test_a_line_left_out_is_a_reading_of_nothing(database):
    bench = make_bench()
    stock(bench)
    batch = reserved(bench)
    line = weigh(batch, "scent", 0)
    lot = Lot.objects.get(material=line.material)
    assert lot.reserved == 0
    with pytest.raises(InvalidInput, match="which lot"):
        weigh(batch, "scent", G)
    weigh(batch, "scent", G, (lot.code, None))
    weigh(batch, "scent", 0)
    pour_batch(batch.code, Poured(on=TODAY))
    lot.refresh_from_db()
    assert (lot.on_hand, line_of(batch, "scent").actual) == (5 * KG, 0)


def test_lots_that_cannot_be_used_change_nothing(database):
    bench = make_bench()
    stock(bench)
    olive = bench.materials["olive"]
    small = make_lot(olive, 10 * G)
    blocked = make_lot(olive, KG, state=LotState.BLOCKED)
    coconut = Lot.objects.get(material=bench.materials["coconut"])
    batch = reserved(bench)
    before = held(batch)
    for lots in ([(small.code, None)], [(blocked.code, None)], [(coconut.code, None)]):
        with pytest.raises(LotNotUsable):
            weigh(batch, "olive", 100 * G, *lots)
    with pytest.raises(NotFound):
        weigh(batch, "olive", 100 * G, ("no-such-lot", None))
    with pytest.raises(LotNotUsable):
        weigh(batch, "olive", 6 * KG)
    for lots in ([(small.code, G), (small.code, G)], [(small.code, G)], [(small.code, 0)]):
        with pytest.raises(InvalidInput):
            weigh(batch, "olive", 100 * G, *lots)
    assert held(batch) == before and not Weighing.objects.exists()


def test_what_was_found_unsafe_since_is_weighed_by_an_owner_who_names_it_alone(database):
    bench = make_bench()
    stock(bench)
    batch = reserved(bench)
    line, lot = line_of(batch, "olive"), Lot.objects.get(material__code="olive")
    hold([lot.pk], NewHold(cause=Cause.LYE, reason="lye-heavy", reference="batch:B-9"), on=TODAY)

    def weigh_more(*lots):
        reading = Reading(position=line.position, amount=line.planned + G, lots=lots)
        weigh_line(batch.code, reading, by=person())

    with pytest.raises(NotForYou) as refused:
        weigh_more()
    assert [fault.field for fault in refused.value.faults] == ["lots"]
    assert held(batch)[lot.code] == line.planned
    weigh_more(ChosenLot(code=lot.code))
    assert held(batch)[lot.code] == line.planned + G


def test_lines_that_are_not_weighed_now_are_refused(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    with pytest.raises(BatchConflict):
        weigh(batch, "olive", G)
    reserve_batch(batch.code)
    with pytest.raises(InvalidInput):
        weigh(batch, "box", 8)
    with pytest.raises(InvalidInput):
        weigh(batch, "olive", -1)
    with pytest.raises(InvalidInput):
        weigh_line(batch.code, Reading(position=99, amount=G))
    pour_batch(batch.code, Poured(on=TODAY))
    with pytest.raises(BatchConflict):
        weigh(batch, "olive", G)


@pytest.mark.parametrize("give_back", [unreserve_batch, cancel_batch])
def test_giving_the_batch_back_sets_its_readings_aside(database, give_back):
    bench = make_bench()
    stock(bench)
    batch = reserved(bench)
    weigh(batch, "olive", 100 * G)
    give_back(batch.code)
    assert standing_weighings(batch.pk) == [] and Weighing.objects.count() == 1
    assert not Lot.objects.filter(reserved__gt=0).exists()


def test_a_lye_heavy_weighing_blocks_the_soap_and_its_bars(database):
    bench = make_bench()
    stock(bench)
    batch = reserved(bench)
    weigh(batch, "naoh", line_of(batch, "naoh").planned * 6 // 5)
    poured = pour_batch(batch.code, Poured(on=TODAY))
    assert poured.safety is not None and poured.safety.superfat < 0
    assert poured.lot.state == LotState.BLOCKED.value
    cut_batch(batch.code, Cut(on=TODAY, bars_good=8))
    with pytest.raises(BatchConflict, match="held beside their cure: Lye-heavy"):
        cure_batch(batch.code, Cured(on=TODAY + timedelta(days=90)))


def test_the_bench_is_recorded_before_and_after_the_pour(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    with pytest.raises(BatchConflict):
        record_bench(batch.code, BenchRecord(trace_minutes=5))
    reserve_batch(batch.code)
    record_bench(
        batch.code,
        BenchRecord(oil_temperature_c=Decimal("41.5"), poured_mass=990 * G, note="slow trace"),
    )
    record_bench(batch.code, BenchRecord(trace_minutes=12))
    poured = pour_batch(batch.code, Poured(on=TODAY))
    assert poured.lot.on_hand == 990 * G
    record_bench(batch.code, BenchRecord(poured_temperature_c=Decimal(39)))
    kept = Batch.objects.get(code=batch.code)
    assert (kept.oil_temperature_c, kept.trace_minutes, kept.poured_mass) == (
        Decimal("41.5"),
        12,
        990 * G,
    )
    assert kept.poured_temperature_c == 39 and "slow trace" in kept.note
    with pytest.raises(InvalidInput) as refused:
        record_bench(
            batch.code,
            BenchRecord(oil_temperature_c=Decimal(200), trace_minutes=-1, poured_mass=0),
        )
    assert {fault.field for fault in refused.value.faults} == {
        "oil_temperature",
        "trace_minutes",
        "poured",
    }


@pytest.mark.parametrize("weight", [0, 10**16 + 1])
def test_no_weight_is_nothing_or_above_ten_tons_by_any_verb(database, weight):
    bench = make_bench()
    stock(bench)
    batch = reserved(bench)
    for verb, told, field in (
        (record_bench, BenchRecord(poured_mass=weight), "poured"),
        (pour_batch, Poured(on=TODAY, output_ng=weight), "poured"),
    ):
        with pytest.raises(InvalidInput) as refused:
            verb(batch.code, told)
        assert [(f.field, f.code) for f in refused.value.faults] == [(field, "weight-outside")]
    pour_batch(batch.code, Poured(on=TODAY))
    if weight:
        with pytest.raises(InvalidInput) as refused:
            cut_batch(batch.code, Cut(on=TODAY, bars_good=1, rejected_weight=weight))
        assert [fault.code for fault in refused.value.faults] == ["weight-outside"]


def pour_as_asked(batch):
    """Pour it, and accept the worst superfat that is asked about where one is."""
    try:
        return pour_batch(batch.code, Poured(on=TODAY))
    except WorstNotAccepted as asked:
        worst = Decimal(asked.faults[0].details["worst"])
        return pour_batch(batch.code, Poured(on=TODAY, accept_worst=worst))


@pytest.mark.django_db
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(readings=st.lists(st.tuples(st.integers(0, 2), st.integers(0, 900)), max_size=6))
def test_any_swaps_conserve_every_lot(readings):
    with transaction.atomic():
        bench = make_bench()
        stock(bench)
        lots = [make_lot(bench.materials["olive"], amount * G, 777) for amount in (500, 800, 900)]
        batch = reserved(bench)
        taken, planned_amount = None, line_of(batch, "olive").planned
        for choice, grams in readings:
            try:
                weigh(batch, "olive", grams * G, *([(lots[choice].code, None)] if grams else []))
            except LotNotUsable:
                continue  # that much is not in the lot
            taken = {lots[choice].code: grams * G} if grams else {}
        pour_as_asked(batch)
        gone = {
            lot.code: amount * G - Lot.objects.get(pk=lot.pk).on_hand
            for lot, amount in zip(lots, (500, 800, 900), strict=True)
        }
        used = planned_amount if taken is None else sum(taken.values())
        assert line_of(batch, "olive").actual == used
        if taken is not None:
            assert {code: amount for code, amount in gone.items() if amount} == taken
        olive = Lot.objects.filter(material=bench.materials["olive"])
        assert not olive.filter(reserved__gt=0).exists()
        assert sum(lot.on_hand for lot in olive) == 5 * KG + 2200 * G - used
        assert prove_books().differences == ()
        transaction.set_rollback(True)
