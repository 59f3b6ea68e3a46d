"""What holds a lot goes out and comes in with it: no table weakens a cause."""

from datetime import date, timedelta

import pytest
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.holds import RELEASED_BY_HAND, Cause, Decision, NewHold, Outcome
from inventory.errors import LotHeld, NotForYou
from inventory.models.shipping.recalls import Recall
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.services.shipping.recall import lift_recall, recall_lot
from inventory.services.stock.hold_verbs import decide_lot, release_lot
from inventory.services.stock.holds import hold
from inventory.services.stock.proof import prove_books
from studio.foundation.errors import StateConflict
from tests.inventory.buying import an_oil
from tests.inventory.services.exchange.test_lots import DAY, a_lot
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import counted, exported, imported, told, undone

pytestmark = pytest.mark.django_db


def held(*causes, code="OL-1"):
    """A lot that these hold, each for a reason of its own."""
    an_oil("bar", kind=MaterialKind.BAR, counted=True)
    lot = a_lot(code, material="bar", amount="12 each")
    for day, cause in enumerate(causes):
        if cause is Cause.RECALL:
            recall_lot(lot.code, "rancid")
            continue
        new = NewHold(cause=cause, reason=f"for {cause}", reference=f"batch:B-{day}")
        hold([lot.pk], new, on=DAY + timedelta(days=day))
    return Lot.objects.get(pk=lot.pk)


CAUSES = st.lists(st.sampled_from(Cause), unique=True, max_size=len(Cause))


@settings(max_examples=30)
@given(CAUSES)
def test_what_holds_a_lot_goes_out_and_comes_into_another_studio(causes):
    with undone():
        before = held(*causes)
        out = exported("lots", by=person())
    with undone():
        maker = person("maker", see_costs=True)
        an_oil("bar", kind=MaterialKind.BAR, counted=True)
        run = imported("lots", out, by=maker)
        assert (run.state, run.faults) == ("done", [])
        lot = Lot.objects.get()
        assert lot.state == before.state
        assert {each.cause for each in lot.holds.all()} == {each.value for each in causes}
        assert all(each.by == maker for each in lot.holds.all())
        for each in lot.holds.exclude(cause=Cause.RECALL):
            assert each.on == DAY + timedelta(days=causes.index(each.cause))
        same = imported("lots", exported("lots", by=maker), by=maker, mode="change")
        assert counted(same) == ("done", 0, 0, 1)
        # Each has the way out that it had.
        if RELEASED_BY_HAND & set(causes):
            release_lot(lot.pk, reason="looked at", by=maker)
        with pytest.raises((LotHeld, StateConflict)):
            release_lot(lot.pk, reason="looked at", by=maker)
        if Cause.LYE in causes:
            decision = Decision(outcome=Outcome.SAFE, reason="x", on=timezone.localdate())
            with pytest.raises(NotForYou):
                decide_lot(lot.pk, decision, cause=Cause.LYE, by=maker)
            with pytest.raises(LotHeld, match="have it measured"):
                decide_lot(lot.pk, decision, cause=Cause.LYE, by=person("owner"))
        if Cause.RECALL in causes:
            lift_recall(Recall.objects.get().code, "sound", by=maker)
        left = {each.cause for each in lot.holds.filter(lifted_at=None)}
        assert left == set(causes) & {Cause.LYE, Cause.LIMIT, Cause.CURE}
        assert prove_books().holds


@pytest.mark.parametrize("cause", [Cause.LYE, Cause.LIMIT, Cause.RECALL])
@pytest.mark.parametrize("stated", ["", "by-hand 2026-03-02"])
def test_no_table_turns_what_was_found_into_a_hold_by_hand(cause, stated):
    lot, maker = held(cause), person("maker", see_costs=True)
    heads = "code,material,amount,cost,received_on,state,state_reason,held_for\n"
    row = f"bar,12 each,41.2,2026-03-02,blocked,{lot.state_reason},{stated}\n"
    assert told(imported("lots", f"{heads}OL-2,{row}", by=maker)) == [
        (2, "held_for", "held-for-missing")
    ]
    run = imported("lots", f"{heads}OL-1,{row}", by=maker, mode="change")
    assert told(run) == ([(2, "held_for", "fixed")] if stated else [])
    assert {each.cause for each in Hold.objects.filter(lifted_at=None)} == {cause}


@pytest.mark.parametrize(
    ("material", "state", "held_for", "column", "code"),
    [
        ("olive", "released", "by-hand 2026-03-02", "state", "state-differs"),
        ("olive", "quarantine", "lye-heavy 2026-03-02", "state", "state-differs"),
        ("olive", "blocked", "arrival 2026-03-02", "state", "state-differs"),
        ("olive", "blocked", "by-hand 2026-03-01", "held_for", "day-outside"),
        ("olive", "blocked", "by-hand 2199-03-01", "held_for", "day-outside"),
        ("olive", "quarantine", "cure 2026-03-02", "held_for", "not-curing"),
        ("olive", "blocked", "spilt 2026-03-02", "held_for", "invalid-input"),
    ],
)
def test_what_a_lot_is_held_for_fits_its_state_and_days(material, state, held_for, column, code):
    an_oil("olive")
    heads = "code,material,amount,cost,received_on,state,state_reason,held_for\n"
    row = f"X-1,{material},1 kg,30,2026-03-02,{state},smells,{held_for}\n"
    assert told(imported("lots", heads + row, by=person())) == [(2, column, code)]


def test_bars_that_cure_and_are_held_keep_their_day():
    an_oil("bar", kind=MaterialKind.BAR, counted=True)
    heads = "code,material,amount,cost,received_on,state,state_reason,held_for,cures_until\n"
    causes = "lye-heavy 2026-03-05; cure 2026-03-02"
    row = f'X-1,bar,12 each,30,2026-03-02,blocked,burns,"{causes}",2026-04-01\n'
    assert counted(imported("lots", heads + row, by=person())) == ("done", 1, 0, 0)
    assert {(each.cause, each.until) for each in Hold.objects.all()} == {
        ("lye-heavy", None),
        ("cure", date(2026, 4, 1)),
    }
