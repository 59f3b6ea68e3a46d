"""Holds are opened and lifted one by one, and the lot's state follows, whatever the order."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from networkx import descendants

from inventory.domain.stock.holds import Cause, Decision, NewHold, Outcome, state_of
from inventory.errors import DayRefusal, LotHeld
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.stock.hold_verbs import decide_lot, end_cure, hold_lot, release_lot
from inventory.services.stock.holds import hold, lift
from inventory.services.stock.ledger import Origin
from inventory.services.stock.proof import prove_books
from studio.foundation.errors import InvalidInput, NotFound, StateConflict
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.inventory.production_graphs import chain, produce, steps
from tests.studio.web.api.people import person

SEARCH = settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
DOCUMENTS = ["batch:B-1", "batch:B-2", "recall:R-1"]
LIFTED = (Cause.CURE, Cause.RECALL, Cause.TRIAL)
MEASURED = Decision(
    outcome=Outcome.MEASURED,
    reason="titrated",
    on=TODAY,
    free_alkali=Decimal("0.0004"),
    measured_on=TODAY,
)
DEEDS = st.lists(
    st.tuples(
        st.sampled_from(["hold", "hold", "lift", "release", "make", "decide"]),
        st.integers(0, 50),
        st.sampled_from(Cause),
        st.sampled_from(DOCUMENTS),
    ),
    max_size=14,
)


def causes(lot):
    return {Cause(each.cause) for each in Hold.objects.filter(lot=lot, lifted_at=None)}


def make_of(lot):
    return make_lot(make_material(), KG, made_of={lot.pk: 1})


@SEARCH
@given(plan=steps(5), deeds=DEEDS)
def test_after_any_deeds_the_state_is_what_open_holds_say(database, plan, deeds):
    owner, made = person("owner"), produce(plan)
    for deed, which, cause, document in deeds:
        lot = made.lots[which % len(made.lots)]
        if deed == "hold":
            hold([lot.pk], NewHold(cause=cause, reason=cause.value, reference=document), on=TODAY)
        elif deed == "lift" and cause in LIFTED:
            lift(cause, document, on=TODAY, reason="over")
            assert not Hold.objects.filter(cause=cause, reference=document, lifted_at=None).exists()
        elif deed == "decide" and Cause.LYE in causes(lot):
            decide_lot(lot.pk, MEASURED, cause=Cause.LYE, by=owner)
            assert Cause.LYE not in causes(lot)
        elif deed == "make":
            made.lots.append(make_of(lot))
        elif deed == "release":
            try:
                release_lot(lot.pk, reason="looked at")
            except LotHeld:
                assert causes(lot) and not causes(lot) & {Cause.ARRIVAL, Cause.BY_HAND}
            except StateConflict:
                assert not causes(lot)
    for lot in Lot.objects.all():
        assert lot.state == state_of(causes(lot))
        assert bool(lot.state_reason) is (lot.state != "released")
        assert lot.history.order_by("-history_id").first().state == lot.state
    assert prove_books().holds
    database.restore()


@SEARCH
@given(plan=steps(8), which=st.integers(0, 50), cause=st.sampled_from(Cause))
def test_what_travels_reaches_exactly_what_was_made_of_it(database, plan, which, cause):
    made = produce(plan)
    start = made.lots[which % len(made.lots)]
    reached = hold([start.pk], NewHold(cause=cause, reason="why", reference="x:1"), on=TODAY)
    expected = {start.code}
    if cause in (Cause.LYE, Cause.LIMIT, Cause.RECALL):
        expected |= descendants(made.graph, start.code)
    held = set(Lot.objects.exclude(state="released").values_list("code", flat=True))
    assert held == expected and len(reached) == len(expected)
    if cause in LIFTED:
        lift(cause, "x:1", on=TODAY, reason="over")
        assert not Lot.objects.exclude(state="released").exists()
    else:
        with pytest.raises(RuntimeError):
            lift(cause, "x:1", on=TODAY, reason="over")
    database.restore()


@pytest.mark.parametrize("cause", Cause)
def test_what_is_made_of_a_held_lot_is_held_but_for_arrival_cure_and_trial(database, cause):
    lot = make_lot(make_material(), KG)
    hold([lot.pk], NewHold(cause=cause, reason="why", reference="x:1"), on=TODAY)
    child = make_of(lot)
    assert causes(child) == (
        set() if cause in (Cause.ARRIVAL, Cause.CURE, Cause.TRIAL) else {cause}
    )
    assert child.state == state_of(causes(child))
    grandchild = make_of(child)
    assert causes(grandchild) == causes(child)


@SEARCH
@given(plan=steps(8), which=st.integers(0, 50), along=st.booleans())
def test_a_hold_by_hand_reaches_what_was_made_of_it_where_that_is_asked(
    database, plan, which, along
):
    made = produce(plan)
    start = made.lots[which % len(made.lots)]
    below = descendants(made.graph, start.code)
    hold_lot(start.pk, reason="smells", with_made_of=along)
    held = set(Lot.objects.exclude(state="released").values_list("code", flat=True))
    assert held == {start.code} | (below if along else set())
    for each in Hold.objects.exclude(lot=start):
        assert each.cause == Cause.BY_HAND and f"lot {start.code}" in each.reason
    # Each is released by itself.
    release_lot(start.pk, reason="aired")
    assert set(Lot.objects.exclude(state="released").values_list("code", flat=True)) == (
        below if along else set()
    )
    assert make_of(start).state == "released" and prove_books().holds
    database.restore()


def test_what_was_made_of_a_lot_does_not_arrive_with_it(database):
    lot = make_lot(make_material(), KG)
    with pytest.raises(InvalidInput):
        hold_lot(lot.pk, cause=Cause.ARRIVAL, with_made_of=True)
    assert not Hold.objects.exists()


DAY_VERBS = {
    Cause.BY_HAND: lambda lot, on, by: release_lot(lot.pk, reason="aired", on=on),
    Cause.ARRIVAL: lambda lot, on, by: release_lot(lot.pk, reason="aired", on=on),
    Cause.CURE: lambda lot, on, by: end_cure(lot.pk, reason="dry", on=on),
    Cause.LYE: lambda lot, on, by: decide_lot(
        lot.pk, replace(MEASURED, on=on, measured_on=max(on, lot.received_on)), by=by
    ),
}


@pytest.mark.parametrize("cause", DAY_VERBS)
def test_nothing_is_lifted_before_the_lot_was_there_or_held(database, cause):
    owner, came = person("owner"), TODAY + timedelta(days=4)
    lot = make_lot(make_material(), KG, received_on=came)
    hold([lot.pk], NewHold(cause=cause, reason="why"), on=came + timedelta(days=2))
    days = {
        date(1, 1, 1): "too-long-ago",
        came - timedelta(days=1): "before-hold",
        came + timedelta(days=1): "before-hold",
        TODAY + timedelta(days=40_000): "day-to-come",
    }
    for day, code in days.items():
        with pytest.raises(DayRefusal) as refused:
            DAY_VERBS[cause](lot, day, owner)
        assert (code, "on") in [(fault.code, fault.field) for fault in refused.value.faults]
    # A hold of before the lot came in, as what is made of a held lot may have.
    Hold.objects.update(on=TODAY)
    with pytest.raises(DayRefusal, match="came in on"):
        DAY_VERBS[cause](lot, came - timedelta(days=1), owner)
    assert DAY_VERBS[cause](lot, came, owner).state == "released"


def test_one_document_holds_a_lot_once_and_each_word_of_people_stands(database):
    lot = make_lot(make_material(), KG)
    recall = NewHold(cause=Cause.RECALL, reason="rancid", reference="recall:R-1")
    for _ in range(2):
        hold([lot.pk], recall, on=TODAY)
        hold_lot(lot.pk, reason="smells")
    assert Hold.objects.filter(cause=Cause.RECALL).count() == 1
    assert Hold.objects.filter(cause=Cause.BY_HAND).count() == 2
    again = list(Hold.objects.filter(cause=Cause.RECALL))
    for each in again:
        each.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        Hold.objects.bulk_create(again)


def test_who_when_and_why_stand_on_a_hold(database):
    keeper, other = person("maker"), person("maker")
    lot = make_lot(make_material(), KG)
    hold_lot(lot.pk, reason="  smells ", on=TODAY + timedelta(days=1), by=keeper)
    release_lot(lot.pk, reason="aired", on=TODAY + timedelta(days=3), by=other)
    held = Hold.objects.get()
    assert (held.reason, held.by, held.on) == ("smells", keeper, TODAY + timedelta(days=1))
    assert (held.lifted_reason, held.lifted_by) == ("aired", other)
    assert held.lifted_on == TODAY + timedelta(days=3) and held.at <= held.lifted_at
    history = lot.history.order_by("history_id")
    assert [(row.state, row.history_user) for row in history] == [
        ("released", None),
        ("blocked", keeper),
        ("released", other),
    ]


@pytest.mark.parametrize("reason", ["", "  ", "x" * 201])
def test_holding_and_releasing_need_a_reason(database, reason):
    lot = make_lot(make_material(), KG)
    with pytest.raises(InvalidInput):
        hold_lot(lot.pk, reason=reason)
    hold_lot(lot.pk, reason="smells")
    with pytest.raises(InvalidInput):
        release_lot(lot.pk, reason=reason)
    assert Lot.objects.get().state == "blocked"


def test_days_to_come_and_days_before_are_refused(database):
    lot = make_lot(make_material(), KG)
    for day in (TODAY - timedelta(days=1), TODAY + timedelta(days=40_000)):
        with pytest.raises(InvalidInput):
            hold_lot(lot.pk, reason="smells", on=day)
    hold_lot(lot.pk, reason="smells", on=TODAY + timedelta(days=5))
    with pytest.raises(InvalidInput):
        release_lot(lot.pk, reason="aired", on=TODAY + timedelta(days=4))
    assert Hold.objects.get().lifted_at is None


@pytest.mark.parametrize("cause", [Cause.CURE, Cause.LYE, Cause.LIMIT, Cause.RECALL])
def test_nobody_holds_by_hand_what_a_batch_or_recall_holds(database, cause):
    lot = make_lot(make_material(), KG)
    with pytest.raises(InvalidInput):
        hold_lot(lot.pk, reason="why", cause=cause)
    with pytest.raises(NotFound):
        hold_lot(10**9, reason="why")


def test_a_bare_release_tells_what_holds_and_what_lifts_each(database):
    lot = make_lot(make_material(), KG)
    for cause, document in ((Cause.RECALL, "recall:R-1"), (Cause.CURE, "batch:B-7")):
        hold([lot.pk], NewHold(cause=cause, reason=cause.value, reference=document), on=TODAY)
    hold_lot(lot.pk, reason="smells")
    assert release_lot(lot.pk, reason="aired").state == "blocked"
    with pytest.raises(LotHeld) as refused:
        release_lot(lot.pk, reason="aired")
    told = str(refused.value)
    assert "recall R-1 is lifted" in told and "the cure of batch B-7 is finished" in told
    (fault,) = refused.value.faults
    assert [each["cause"] for each in fault.details["holds"]] == ["recall", "cure"]


@pytest.mark.parametrize("reason", ["", "looked at"])
def test_what_nothing_holds_is_not_released(database, reason):
    lot = make_lot(make_material(), KG)
    with pytest.raises(StateConflict, match=f"Lot {lot.code} is not held") as refused:
        release_lot(lot.pk, reason=reason)
    assert [(f.code, f.field) for f in refused.value.faults] == [("state-conflict", "lot")]
    assert Lot.objects.get().state == "released" and lot.history.count() == 1


@pytest.mark.parametrize("cause", Cause)
def test_held_lots_may_be_counted_and_spoiled(database, cause):
    lot = make_lot(make_material(), KG)
    hold([lot.pk], NewHold(cause=cause, reason="why", reference="x:1"), on=TODAY)
    origin = Origin(reference="spoil:x", note="rancid")
    spoil_lot(lot.pk, KG // 2, origin=origin)
    count_lot(Counted(lot_id=lot.pk, found=KG // 4, on=TODAY), origin=origin)
    assert Lot.objects.get().on_hand == KG // 4 and prove_books().holds


def curing(until=None, reference="opening:OL-1"):
    new = NewHold(cause=Cause.CURE, reason="curing", reference=reference, until=until)
    return make_lot(make_material(), KG, holds=[new])


def test_the_cure_of_opening_stock_ends_on_its_day_or_with_a_reason(database):
    end = TODAY + timedelta(days=10)
    lot = curing(until=end)
    assert lot.state == "quarantine"
    with pytest.raises(InvalidInput, match="over on"):
        end_cure(lot.pk, on=end - timedelta(days=1))
    assert end_cure(lot.pk, on=end).state == "released"
    early, unknown = curing(until=end), curing()
    with pytest.raises(InvalidInput, match="Nobody said"):
        end_cure(unknown.pk, on=end)
    for held in (early, unknown):
        assert end_cure(held.pk, on=TODAY, reason="hard as stone").state == "released"
        assert Hold.objects.get(lot=held).lifted_reason == "hard as stone"


def test_a_batch_ends_the_cure_of_its_own_bars(database):
    with pytest.raises(LotHeld, match="the cure of batch B-7 is finished"):
        end_cure(curing(reference="batch:B-7").pk, reason="dry")
    with pytest.raises(StateConflict, match="not curing"):
        end_cure(make_lot(make_material(), KG).pk, reason="dry")


def test_the_proof_finds_a_state_that_no_hold_says(database):
    lot = make_lot(make_material(), KG)
    hold_lot(lot.pk, reason="smells")
    assert prove_books().holds
    Lot.objects.update(state="released")
    (wrong,) = prove_books().differences
    assert (wrong.lot, wrong.on_row, wrong.in_books) == (lot.code, "released", "blocked")


def test_the_number_of_queries_is_fixed(database):
    counted = []
    for plan in (chain(1), chain(12)):
        first = produce(plan, raw=1).lots[0]
        new = NewHold(cause=Cause.RECALL, reason="why", reference="recall:R-1")
        with CaptureQueriesContext(connection) as holding:
            hold([first.pk], new, on=TODAY)
        with CaptureQueriesContext(connection) as lifting:
            lift(Cause.RECALL, "recall:R-1", on=TODAY, reason="over")
        counted.append((len(holding), len(lifting)))
        database.restore()
    assert counted[0] == counted[1]
