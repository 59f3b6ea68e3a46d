"""Count sessions: blind, posted at once, and honest about stock that moved meanwhile."""

from datetime import timedelta

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.domain.counting.session import Find, Moved
from inventory.domain.stock.ledger import Balance, Verb
from inventory.errors import LedgerRefusal, SessionClosed, SessionNotReady
from inventory.models.counting.counts import CountSession, StockCount
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Location, Lot
from inventory.queries.counting.sessions import sheet_of_session, variance_of
from inventory.services.counting.counts import Counted, count_lot
from inventory.services.counting.posting import Posting, post_session
from inventory.services.counting.sessions import (
    FoundLot,
    NewSession,
    cancel_session,
    enter_finds,
    open_session,
)
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.locations import move_lot
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import Holding, reserve
from studio.foundation.errors import InvalidInput, NotFound
from studio.foundation.units.grammar import parse_quantity
from tests.inventory.making import KG, TODAY, make_lot, make_material

SEARCH = settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
BENCH = Origin(reference="batch:1")


def found(lot, text, reason=""):
    return FoundLot(lot=lot, found=parse_quantity(text), reason=reason)


def session_of(*codes):
    return open_session(NewSession(counted_on=TODAY, lots=codes)).code


@SEARCH
@given(
    lots=st.lists(
        st.tuples(st.integers(1, 10**6), st.integers(0, 10**6), st.integers(0, 2 * 10**6)),
        min_size=1,
        max_size=5,
    )
)
def test_posting_brings_all_books_to_the_shelf(database, lots):
    box = make_material("box", counted=True)
    made = [make_lot(box, amount, cost) for amount, cost, _ in lots]
    code = session_of(*(lot.code for lot in made))
    enter_finds(
        code,
        [
            found(lot.code, f"{find} each", reason=f"why {lot.pk % 2}")
            for lot, (_, _, find) in zip(made, lots, strict=True)
        ],
    )
    told = {line.lot: line for line in variance_of(code).lines}
    assert not StockEntry.objects.filter(verb=Verb.COUNT.value).exists()
    post_session(code)
    for lot, (amount, _, find) in zip(made, lots, strict=True):
        before_cost = lot.cost
        lot.refresh_from_db()
        assert lot.on_hand == find
        assert told[lot.code].difference == find - amount
        assert lot.cost - before_cost == told[lot.code].value
        entry = lot.entries.filter(verb=Verb.COUNT.value).first()
        assert (entry is None) == (find == amount)
        if entry is not None:
            assert (entry.reference, entry.note) == (f"count:{code}", f"why {lot.pk % 2}")
        record = StockCount.objects.get(lot=lot)
        assert (record.expected, record.found) == (amount, find)
    assert variance_of(code).lines == tuple(told[lot] for lot in told)
    assert prove_books().holds
    database.restore()


@given(st.integers(0, 99), st.integers(0, 99), st.integers(0, 99))
def test_what_a_find_means_when_the_books_moved(find, expected, now):
    one = Find(found=find, expected=expected, books=Balance(on_hand=now, cost=now * 7))
    assert one.has_moved == (expected != now)
    assert one.to_post(Moved.BEFORE_COUNT) == find
    assert one.to_post(Moved.AFTER_COUNT) - now == find - expected


def test_stock_that_moved_must_be_explained(database):
    box = make_material("box", counted=True)
    before, after, recounted = (make_lot(box, 10, 100) for _ in range(3))
    code = session_of(before.code, after.code, recounted.code)
    enter_finds(code, [found(lot.code, "9 each") for lot in (before, after, recounted)])
    for lot in (before, after, recounted):
        draw(lot.pk, 4, origin=BENCH)
    assert all(line.has_moved for line in variance_of(code).lines)
    with pytest.raises(SessionNotReady) as refused:
        post_session(code)
    assert {fault.details["lot"] for fault in refused.value.faults} == {
        before.code, after.code, recounted.code,
    }  # fmt: skip
    enter_finds(code, [found(recounted.code, "5 each")])
    moved = {before.code: Moved.BEFORE_COUNT, after.code: Moved.AFTER_COUNT}
    post_session(code, Posting(moved=moved))
    assert [Lot.objects.get(pk=lot.pk).on_hand for lot in (before, after, recounted)] == [9, 5, 5]


def test_lots_not_counted_are_left_only_when_told(database):
    box = make_material("box", counted=True)
    one, other = make_lot(box, 10, 100), make_lot(box, 10, 100)
    code = session_of(one.code, other.code)
    with pytest.raises(SessionNotReady):
        post_session(code, Posting(leave_uncounted=True))
    enter_finds(code, [found(one.code, "8 each")])
    with pytest.raises(SessionNotReady) as refused:
        post_session(code)
    assert refused.value.faults[0].details["lot"] == other.code
    assert variance_of(code).not_counted == (other.code,)
    post_session(code, Posting(leave_uncounted=True))
    assert [Lot.objects.get(pk=lot.pk).on_hand for lot in (one, other)] == [8, 10]


def test_all_lots_or_none_are_posted(database):
    """One lot holds more for a batch than was found, so the other stays as it is too."""
    box, oil = make_material("box", counted=True), make_material("oil")
    boxes, held = make_lot(box, 10, 100), make_lot(oil, 3 * KG, 300)
    reserve(Holding(needs={oil.pk: 2 * KG}, holder="batch:1", on=TODAY))
    code = session_of(boxes.code, held.code)
    enter_finds(code, [found(boxes.code, "7 each"), found(held.code, "1 kg")])
    with pytest.raises(LedgerRefusal) as refused:
        post_session(code)
    assert refused.value.faults[0].details["lot"] == held.code
    boxes.refresh_from_db()
    assert boxes.on_hand == 10 and not StockCount.objects.exists()
    assert CountSession.objects.get().state == "open"


def test_a_place_is_counted(database):
    rack = Location.objects.create(code="rack", name="Rack", kind="curing-rack")
    oil = make_material("oil", density_g_ml="0.9")
    here, there, empty = make_lot(oil, KG, 9), make_lot(oil, KG, 9), make_lot(oil, KG, 9)
    for lot in (here, empty):
        move_lot(lot.pk, "rack")
    draw(empty.pk, KG, origin=BENCH)
    code = open_session(NewSession(counted_on=TODAY, location="rack")).code
    (line,) = sheet_of_session(code)
    assert (line.lot, line.location, line.counted_at) == (here.code, rack.code, None)
    enter_finds(code, [found(here.code, "1 L")])
    assert variance_of(code).lines[0].found == 900 * 10**9
    assert sheet_of_session(code)[0].counted_at is not None
    with pytest.raises(InvalidInput):
        enter_finds(code, [found(there.code, "1 kg")])


@pytest.mark.parametrize("end", [post_session, cancel_session])
def test_a_session_ends_once(database, end):
    lot = make_lot(make_material("box", counted=True), 10)
    code = session_of(lot.code)
    enter_finds(code, [found(lot.code, "9 each")])
    end(code)
    for again in (
        post_session,
        cancel_session,
        lambda c: enter_finds(c, [found(lot.code, "9 each")]),
    ):
        with pytest.raises(SessionClosed):
            again(code)
    lot.refresh_from_db()
    assert lot.on_hand == (9 if end is post_session else 10)


def test_what_no_session_can_be(database):
    lot = make_lot(make_material(), KG)
    bad = [
        NewSession(counted_on=TODAY),
        NewSession(counted_on=TODAY, lots=[lot.code], location="rack"),
        NewSession(counted_on=TODAY, lots=[lot.code, lot.code]),
        NewSession(counted_on=timezone.localdate() + timedelta(days=1), lots=[lot.code]),
        NewSession(counted_on=TODAY, lots=[lot.code], note="x" * 161),
    ]
    for new in bad:
        with pytest.raises(InvalidInput):
            open_session(new)
    for new in (
        NewSession(counted_on=TODAY, lots=["x"]),
        NewSession(counted_on=TODAY, location="x"),
    ):
        with pytest.raises(NotFound):
            open_session(new)
    assert not CountSession.objects.exists()


def test_what_no_find_can_be(database):
    lot = make_lot(make_material("box", counted=True), 10)
    code = session_of(lot.code)
    for finds in (
        [],
        [found(lot.code, "1 kg")],
        [found(lot.code, "1.5 each")],
        [found(lot.code, "1 each"), found(lot.code, "2 each")],
        [found(lot.code, "1 each", reason="x" * 201)],
    ):
        with pytest.raises(InvalidInput):
            enter_finds(code, finds)
    with pytest.raises(InvalidInput):
        post_session(code, Posting(moved={"elsewhere": Moved.AFTER_COUNT}))
    assert variance_of(code).lines == ()


def test_moving_a_lot_changes_no_stock(database):
    Location.objects.create(code="shelf", name="Shelf", kind="shelf")
    Location.objects.create(code="gone", name="Gone", kind="cold", active=False)
    lot = make_lot(make_material(), KG, 9)
    entries = StockEntry.objects.count()
    assert move_lot(lot.pk, "shelf").location.code == "shelf"
    for place, refusal in (("gone", InvalidInput), ("nowhere", NotFound)):
        with pytest.raises(refusal):
            move_lot(lot.pk, place)
    assert lot.history.first().location.code == "shelf"
    assert move_lot(lot.pk, None).location is None
    assert StockEntry.objects.count() == entries


def test_a_count_is_over_what_is_in_stock_of_kinds_or_everywhere(database):
    oil, box = (
        make_lot(make_material("oil"), KG),
        make_lot(make_material("box", kind="packaging"), 9),
    )
    draw(make_lot(make_material("gone"), 9).pk, 9, origin=BENCH)
    rack = Location.objects.create(code="rack", name="Rack", kind="shelf")
    move_lot(oil.pk, "rack")

    def on_sheet(**scope):
        code = open_session(NewSession(counted_on=TODAY, **scope)).code
        return {line.lot for line in sheet_of_session(code)}

    assert on_sheet(everywhere=True) == {oil.code, box.code}
    assert on_sheet(kinds=["packaging"]) == {box.code}
    assert on_sheet(kinds=["fat"], location=rack.code) == {oil.code}
    count_lot(Counted(lot_id=oil.pk, found=oil.on_hand, on=TODAY), origin=BENCH)
    assert on_sheet(everywhere=True, not_since=TODAY) == {box.code}
    assert on_sheet(everywhere=True, not_since=TODAY + timedelta(days=1)) == {oil.code, box.code}
    for wrong in (
        {"kinds": ["packaging"], "location": rack.code},
        {"kinds": ["snow"]},
        {"everywhere": True, "lots": [oil.code]},
        {},
    ):
        with pytest.raises(InvalidInput):
            open_session(NewSession(counted_on=TODAY, **wrong))
