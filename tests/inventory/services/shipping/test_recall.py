"""A recall blocks a lot and exactly what was made of it, and lifting puts back what it changed."""

import pytest
from django.contrib.auth import get_user_model
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from networkx import descendants

from inventory.domain.stock.holds import Cause
from inventory.errors import LotHeld, LotNotUsable, NotEnoughStock, RecallConflict
from inventory.models.shipping.recalls import Recall
from inventory.models.stock.lots import Lot
from inventory.services.shipping.recall import lift_recall, recall_lot
from inventory.services.stock.consumption import draw
from inventory.services.stock.hold_verbs import hold_lot, release_lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import Holding, reserve
from studio.foundation.errors import InvalidInput, NotFound
from tests.inventory.making import TODAY, make_lot, make_material
from tests.inventory.production_graphs import Step, chain, produce, steps

SEARCH = settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
CAUSE = st.sampled_from([None, Cause.ARRIVAL, Cause.BY_HAND])


def standing():
    return {lot.code: (lot.state, lot.state_reason) for lot in Lot.objects.all()}


@SEARCH
@given(plan=steps(8), which=st.integers(0, 50), causes=st.lists(CAUSE, max_size=10))
def test_exactly_the_descendants_are_held_and_freed(database, plan, which, causes):
    made = produce(plan)
    for lot, cause in zip(made.lots, causes, strict=False):
        if cause is not None:
            hold_lot(lot.pk, reason="as before", cause=cause)
    before = standing()
    start = made.lots[which % len(made.lots)].code
    inside = {start} | descendants(made.graph, start)
    recall = recall_lot(start, "rancid")
    after = standing()
    for code in before:
        if code in inside:
            words = {before[code][1], f"recall {recall.code}: rancid"} - {""}
            assert (after[code][0], set(after[code][1].split("; "))) == ("blocked", words)
        else:
            assert after[code] == before[code]
    lift_recall(recall.code, "tested sound")
    assert standing() == before
    assert prove_books().holds
    database.restore()


@SEARCH
@given(
    plan=steps(8),
    which=st.lists(st.integers(0, 50), min_size=2, max_size=3, unique=True),
    order=st.permutations([0, 1, 2]),
)
def test_recalls_that_meet_hold_until_the_last_is_lifted(database, plan, which, order):
    made = produce(plan)
    before = standing()
    starts = list(dict.fromkeys(made.lots[one % len(made.lots)].code for one in which))
    recalls = [recall_lot(start, f"reason {start}") for start in starts]
    reach = {r.pk: {s} | descendants(made.graph, s) for r, s in zip(recalls, starts, strict=True)}
    for index in order:
        if index >= len(recalls):
            continue
        lift_recall(recalls[index].code, "sound")
        del reach[recalls[index].pk]
        still = set().union(*reach.values())
        now = standing()
        assert {code for code, (status, _) in now.items() if status == "blocked"} == still
        assert all(now[code] == before[code] for code in before if code not in still)
    database.restore()


def test_what_a_recall_blocks_is_never_allocated(database):
    made = produce(chain(2), raw=1)
    recall_lot(made.lots[0].code, "rancid")
    material = made.lots[0].material
    with pytest.raises(NotEnoughStock):
        reserve(Holding(needs={material.pk: 1}, holder="batch:x", on=TODAY))
    for lot in made.lots:
        with pytest.raises(LotNotUsable):
            draw(lot.pk, 1, origin=Origin(reference="batch:x"))


def test_a_hold_that_somebody_opened_meanwhile_stays(database):
    made = produce(chain(2), raw=1)
    first, middle, last = (lot.code for lot in made.lots)
    recall = recall_lot(first, "rancid")
    hold_lot(made.lots[2].pk, reason="moldy")
    lift_recall(recall.code, "sound")
    now = standing()
    assert now[first][0] == "released" and now[middle][0] == "released"
    assert now[last] == ("blocked", "moldy")


def test_what_a_recall_reaches_is_freed_by_lifting_it_alone(database):
    """Holding such a lot by hand too, or first, opens no way around the recall."""
    made = produce(chain(2), raw=1)
    hold_lot(made.lots[1].pk, reason="smells")
    recall = recall_lot(made.lots[0].code, "rancid")
    hold_lot(made.lots[2].pk, reason="moldy")
    with pytest.raises(LotHeld, match=rf"{recall.code} is lifted"):
        release_lot(made.lots[0].pk, reason="looked at")
    for lot in made.lots[1:]:
        assert release_lot(lot.pk, reason="looked at").state == "blocked"
        with pytest.raises(LotHeld, match=rf"{recall.code} is lifted"):
            release_lot(lot.pk, reason="looked at")
    lift_recall(recall.code, "sound")
    assert set(standing().values()) == {("released", "")}


def test_what_is_made_while_recalled_is_held_by_each_recall(database):
    """The cut of poured soap that is held gives bars that are held, with the same reasons."""
    made = produce(chain(1), raw=2)
    one = recall_lot(made.lots[0].code, "first")
    other = recall_lot(made.lots[1].code, "second")
    late = make_lot(
        make_material(),
        10,
        made_of={made.lots[0].pk: 1, made.lots[1].pk: 1},
    )
    lift_recall(one.code, "sound")
    assert standing()[late.code] == ("blocked", other.hold_reason)
    third = recall_lot(late.code, "third")
    lift_recall(other.code, "sound")
    lift_recall(third.code, "sound")
    assert standing()[late.code] == ("released", "")


def test_who_and_why_are_kept_in_the_history(database):
    somebody = get_user_model().objects.create_user("mae")
    made = produce(chain(1), raw=1)
    recall = recall_lot(made.lots[0].code, "rancid", by=somebody)
    lift_recall(recall.code, "sound", by=somebody)
    lot = Lot.objects.get(code=made.lots[1].code)
    lifted, blocked = lot.history.all()[:2]
    assert (blocked.state, blocked.history_user, blocked.history_type) == (
        "blocked",
        somebody,
        "~",
    )
    assert blocked.history_change_reason == f"recall {recall.code}: rancid"
    assert (lifted.state, lifted.code, lifted.received_amount) == (
        lot.state,
        lot.code,
        lot.received_amount,
    )
    assert lifted.history_change_reason == f"recall {recall.code} lifted: sound"
    recall.refresh_from_db()
    assert (recall.by, recall.lifted_by, recall.lifted_reason) == (somebody, somebody, "sound")


@pytest.mark.parametrize("reason", ["", "   ", "x" * 161])
def test_a_reason_is_required(database, reason):
    made = produce([], raw=1)
    code = made.lots[0].code
    with pytest.raises(InvalidInput):
        recall_lot(code, reason)
    recall = recall_lot(code, "rancid")
    with pytest.raises(InvalidInput):
        lift_recall(recall.code, reason)
    assert Recall.objects.get().lifted_at is None


def test_each_happens_once(database):
    code = produce([], raw=1).lots[0].code
    recall = recall_lot(code, "rancid")
    with pytest.raises(RecallConflict):
        recall_lot(code, "again")
    lift_recall(recall.code, "sound")
    with pytest.raises(RecallConflict):
        lift_recall(recall.code, "sound")
    assert recall_lot(code, "now again").code != recall.code
    for call in (recall_lot, lift_recall):
        with pytest.raises(NotFound):
            call("nothing", "why")


def test_the_number_of_queries_is_fixed(database):
    counted = []
    for plan in (chain(1), [*chain(12), Step(takes=((0, 1), (4, 1)), makes=2)]):
        code = produce(plan, raw=1).lots[0].code
        with CaptureQueriesContext(connection) as blocking:
            recall = recall_lot(code, "rancid")
        with CaptureQueriesContext(connection) as lifting:
            lift_recall(recall.code, "sound")
        counted.append((len(blocking), len(lifting)))
        database.restore()
    # The first code of a prefix takes one query more; restoring forgets the prefix.
    assert counted[0] == counted[1]
