"""Reserving and consuming, on both databases."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.domain.stock.lots import LotState
from inventory.errors import LotNotUsable, NotEnoughStock, ReservationClosed
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.reservations import ReservationState
from inventory.queries.stock.candidates import ChosenLot
from inventory.services.stock.consumption import Actual, consume_reservation
from inventory.services.stock.ledger import Origin
from inventory.services.stock.reservations import Holding, release, reserve
from studio.foundation.errors import StateConflict
from tests.inventory.making import KG, TODAY, make_lot, make_material

CONTROL = ("BEGIN", "COMMIT", "SAVEPOINT", "RELEASE", "ROLLBACK")


def statements(captured):
    return [q["sql"] for q in captured if not q["sql"].startswith(CONTROL)]


def test_the_lot_that_expires_first_is_held_first(database):
    oil = make_material()
    late = make_lot(oil, 5 * KG, 100, best_before=TODAY + timedelta(days=90))
    soon = make_lot(oil, 2 * KG, 100, best_before=TODAY + timedelta(days=9))
    never = make_lot(oil, 5 * KG, 100)
    held = reserve(Holding(needs={oil.pk: 8 * KG}, holder="batch:1", on=TODAY))
    assert [(lot.code, amount) for lot, amount in held.lots] == [
        (soon.code, 2 * KG),
        (late.code, 5 * KG),
        (never.code, 1 * KG),
    ]
    never.refresh_from_db()
    assert (never.on_hand, never.reserved, never.cost) == (5 * KG, 1 * KG, 100)


def test_a_shortage_holds_nothing_and_names_every_short_material(database):
    olive, lard, clay = make_material("olive"), make_material("lard"), make_material("clay")
    make_lot(olive, KG)
    make_lot(clay, KG)
    with pytest.raises(NotEnoughStock) as refused:
        reserve(
            Holding(needs={olive.pk: 2 * KG, lard.pk: KG, clay.pk: KG}, holder="batch:1", on=TODAY)
        )
    assert [(f.details["material"], f.details["short"]) for f in refused.value.faults] == [
        ("lard", "1000"),
        ("olive", "1000"),
    ]
    assert not StockEntry.objects.filter(verb="reserve").exists()


def test_expired_blocked_and_quarantined_lots_are_never_held(database):
    oil = make_material()
    make_lot(oil, KG, best_before=TODAY - timedelta(days=1))
    make_lot(oil, KG, state=LotState.BLOCKED)
    make_lot(oil, KG, state=LotState.QUARANTINE)
    with pytest.raises(NotEnoughStock):
        reserve(Holding(needs={oil.pk: 1}, holder="batch:1", on=TODAY))


def test_a_chosen_lot_goes_before_the_order_of_use_and_must_be_usable(database):
    oil, other = make_material(), make_material()
    make_lot(oil, KG, best_before=TODAY)
    wanted, foreign = make_lot(oil, KG), make_lot(other, KG)
    chosen = {oil.pk: [ChosenLot(code=wanted.code)]}
    held = reserve(Holding(needs={oil.pk: KG}, holder="a", on=TODAY, chosen=chosen))
    assert [lot.code for lot, _ in held.lots] == [wanted.code]
    chosen = {oil.pk: [ChosenLot(code=foreign.code)]}
    with pytest.raises(LotNotUsable):
        reserve(Holding(needs={oil.pk: KG}, holder="b", on=TODAY, chosen=chosen))


def test_a_holder_has_one_open_reservation(database):
    oil = make_material()
    make_lot(oil, KG)
    reserve(Holding(needs={oil.pk: 1}, holder="a", on=TODAY))
    with pytest.raises(StateConflict):
        reserve(Holding(needs={oil.pk: 1}, holder="a", on=TODAY))


@pytest.mark.parametrize("lines", [5, 50])
def test_the_number_of_queries_does_not_depend_on_the_lines(database, lines):
    needs = {}
    for _ in range(lines):
        material = make_material()
        make_lot(material, KG)
        make_lot(material, KG)
        needs[material.pk] = KG + 1
    with CaptureQueriesContext(connection) as captured:
        reserve(Holding(needs=needs, holder="batch:1", on=TODAY))
    assert len(statements(captured.captured_queries)) == 6


def test_consuming_settles_differences_and_takes_the_cost_along(database):
    oil, clay = make_material(), make_material()
    first = make_lot(oil, 3 * KG, 300, best_before=TODAY)
    second = make_lot(oil, 3 * KG, 900)
    earth = make_lot(clay, KG, 77)
    held = reserve(Holding(needs={oil.pk: 4 * KG, clay.pk: KG}, holder="a", on=TODAY))
    actual = Actual(amounts={oil.pk: 5 * KG, clay.pk: KG // 2})
    taken = consume_reservation(held.reservation.pk, actual, on=TODAY, origin=Origin(reference="a"))
    assert {(t.lot.code, t.amount, t.cost) for t in taken} == {
        (first.code, 3 * KG, 300),
        (second.code, 2 * KG, 600),
        (earth.code, KG // 2, 38),
    }
    earth.refresh_from_db()
    assert (earth.on_hand, earth.reserved, earth.cost) == (KG // 2, 0, 39)
    held.reservation.refresh_from_db()
    assert held.reservation.state == ReservationState.CONSUMED
    with pytest.raises(ReservationClosed):
        release(held.reservation.pk)


def test_what_is_not_consumed_yet_stays_reserved(database):
    oil, box = make_material(), make_material(counted=True)
    make_lot(oil, KG)
    boxes = make_lot(box, 20)
    held = reserve(Holding(needs={oil.pk: KG, box.pk: 12}, holder="a", on=TODAY))
    consume_reservation(
        held.reservation.pk, Actual(amounts={oil.pk: KG}), on=TODAY, origin=Origin(reference="a")
    )
    boxes.refresh_from_db()
    held.reservation.refresh_from_db()
    assert (boxes.on_hand, boxes.reserved) == (20, 12)
    assert held.reservation.state == ReservationState.OPEN


def test_another_lot_than_the_reserved_one_may_be_used(database):
    oil = make_material()
    planned = make_lot(oil, 3 * KG, 300, best_before=TODAY)
    swapped = make_lot(oil, 3 * KG, 900)
    held = reserve(Holding(needs={oil.pk: 2 * KG}, holder="a", on=TODAY))
    chosen = {
        oil.pk: [
            ChosenLot(code=planned.code, amount=KG),
            ChosenLot(code=swapped.code, amount=KG),
        ]
    }
    consume_reservation(
        held.reservation.pk,
        Actual(amounts={oil.pk: 2 * KG}, chosen=chosen),
        on=TODAY,
        origin=Origin(reference="a"),
    )
    planned.refresh_from_db()
    swapped.refresh_from_db()
    assert (planned.on_hand, planned.reserved, planned.cost) == (2 * KG, 0, 200)
    assert (swapped.on_hand, swapped.reserved, swapped.cost) == (2 * KG, 0, 600)
