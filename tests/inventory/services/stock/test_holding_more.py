"""A reservation grows, gives back a part and ships; what it holds is what its lots reserve."""

from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.errors import LotNotUsable, NotEnoughStock, ReservationClosed
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.reservations import Reservation, ReservationLine
from inventory.services.shipping.returns import Returning, bars_returned, return_shipment
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.holding_more import give_back, hold
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import Holding
from studio.foundation.errors import InvalidInput
from tests.inventory.making import TODAY, make_lot, make_material
from tests.threads import at_once

SEARCH = settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])


def bars():
    return make_material("bar", kind="bar", counted=True)


def wanted(bar, amount, holder="order:SO-1"):
    return Holding(needs={bar.pk: amount}, holder=holder, on=TODAY, oldest=True)


def to_ship(*lines):
    return Shipping(customer_name="Corner shop (invented)", shipped_on=TODAY, lines=lines)


def held():
    return {
        line.lot.code: line.remaining
        for line in ReservationLine.objects.filter(remaining__gt=0).select_related("lot")
    }


@pytest.mark.django_db
def test_what_has_cured_longest_is_held_first_whatever_its_best_before():
    bar = bars()
    make_lot(bar, 5, code="newer", best_before=TODAY + timedelta(days=1))
    make_lot(bar, 5, code="old", received_on=TODAY - timedelta(days=60))
    make_lot(bar, 9, code="past", received_on=TODAY - timedelta(days=90),
             best_before=TODAY - timedelta(days=1))  # fmt: skip
    hold(wanted(bar, 7))
    assert held() == {"old": 5, "newer": 2}


@SEARCH
@given(
    lots=st.lists(st.integers(1, 9), min_size=1, max_size=4),
    steps=st.lists(st.tuples(st.sampled_from(["hold", "back", "ship"]), st.integers(1, 12))),
)
def test_any_walk_keeps_held_equal_to_reserved(database, lots, steps):
    bar = bars()
    for index, amount in enumerate(lots):
        make_lot(bar, amount, 7 * amount + index, code=f"b{index}")
    free, holding, gone = sum(lots), 0, 0
    for verb, amount in steps:
        lines = list(ReservationLine.objects.filter(remaining__gt=0).select_related("lot"))
        if verb == "hold" and amount > free:
            with pytest.raises(NotEnoughStock):
                hold(wanted(bar, amount))
        elif verb == "hold":
            assert sum(part for _, part in hold(wanted(bar, amount)).lots) == amount
            free, holding = free - amount, holding + amount
        elif lines:
            line = lines[amount % len(lines)]
            part = min(amount, line.remaining)
            holding -= part
            if verb == "back":
                give_back(line.reservation_id, {line.lot_id: part})
                free += part
            else:
                ship(
                    to_ship(ToShip(amount=part, lot=line.lot.code, reservation=line.reservation_id))
                )
                gone += part
        assert sum(held().values()) == holding
        assert sum(lot.on_hand - lot.reserved for lot in bar.lots.all()) == free
        assert sum(lot.on_hand for lot in bar.lots.all()) == sum(lots) - gone
    assert prove_books().holds
    database.restore()


def test_the_last_bars_are_held_once(database):
    bar = bars()
    make_lot(bar, 10)
    for holder in "ab":
        hold(wanted(bar, 1, holder))
    answers = at_once(lambda holder: hold(wanted(bar, 8, holder)), ["a", "b"])
    assert sorted(type(answer).__name__ for answer in answers) == ["Held", "NotEnoughStock"]
    assert sum(ReservationLine.objects.values_list("remaining", flat=True)) == 1 + 1 + 8
    assert prove_books().holds


@pytest.mark.django_db
def test_a_growing_reservation_asks_few_questions(django_assert_max_num_queries):
    bar = bars()
    for _ in range(20):
        make_lot(bar, 1)
    hold(wanted(bar, 3))
    with django_assert_max_num_queries(10):  # two of them are the savepoint
        hold(wanted(bar, 12))


@pytest.mark.django_db
def test_a_shipment_takes_what_is_held_and_ends_the_reservation():
    bar = bars()
    lot = make_lot(bar, 10, 999)
    reservation = hold(wanted(bar, 6)).reservation
    shipment = ship(
        to_ship(
            ToShip(amount=6, lot=lot.code, reservation=reservation.pk),
            ToShip(amount=2, lot=lot.code),
        )
    )
    (line,) = shipment.lines.all()
    entries = StockEntry.objects.filter(reference=shipment.document)
    assert (line.amount, line.cost) == (8, -sum(entry.cost for entry in entries))
    lot.refresh_from_db()
    reservation.refresh_from_db()
    assert (lot.on_hand, lot.reserved, reservation.state) == (2, 0, "consumed")
    with pytest.raises(ReservationClosed):
        ship(to_ship(ToShip(amount=1, lot=lot.code, reservation=reservation.pk)))
    assert prove_books().holds


@pytest.mark.django_db
def test_no_more_than_is_held_leaves_or_comes_back():
    bar = bars()
    lot, other = make_lot(bar, 5), make_lot(bar, 5)
    reservation = hold(wanted(bar, 3)).reservation
    for code, amount in ((lot.code, 4), (other.code, 1)):
        with pytest.raises(LotNotUsable, match="less than"):
            ship(to_ship(ToShip(amount=amount, lot=code, reservation=reservation.pk)))
    for pk, amount in ((lot.pk, 4), (other.pk, 1), (lot.pk, 0)):
        with pytest.raises(InvalidInput):
            give_back(reservation.pk, {pk: amount})
    hold_lot(lot.pk, reason="recalled")
    with pytest.raises(LotNotUsable, match="not released"):
        ship(to_ship(ToShip(amount=1, lot=lot.code, reservation=reservation.pk)))
    assert Reservation.objects.get().state == "open" and held() == {lot.code: 3}


@pytest.mark.django_db
def test_listeners_hear_of_returns_with_the_mark_of_the_caller():
    heard = []

    def listen(*, shipment, returns, mark, **_):
        heard.append((shipment.code, [(back.pk, back.amount) for back in returns], mark))

    bar = bars()
    lot = make_lot(bar, 5)
    shipment = ship(to_ship(ToShip(amount=4, lot=lot.code)))
    bars_returned.connect(listen)
    try:
        (back,) = return_shipment(
            shipment.code,
            Returning(returned_on=TODAY, reason="dented", lots={lot.code: 1}, mark="2"),
        )
    finally:
        bars_returned.disconnect(listen)
    assert heard == [(shipment.code, [(back.pk, 1)], "2")]
