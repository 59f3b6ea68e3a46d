"""The state of a lot decides whether it is used."""

import pytest

from inventory.domain.stock.lots import LotState
from inventory.errors import NotEnoughStock
from inventory.models.stock.lots import Lot
from inventory.services.stock.hold_verbs import hold_lot, release_lot
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import Holding, release, reserve
from studio.foundation.errors import InvalidInput, NotFound
from tests.inventory.making import KG, TODAY, make_lot, make_material

pytestmark = pytest.mark.django_db


def test_blocking_needs_a_reason():
    lot = make_lot(make_material(), KG)
    with pytest.raises(InvalidInput):
        hold_lot(lot.pk, reason=" ")
    assert Lot.objects.get().state == "released"


def test_an_unknown_lot_has_no_state():
    with pytest.raises(NotFound):
        release_lot(10**9, reason="looked at")


def test_quarantine_keeps_a_lot_from_use_until_it_is_released():
    oil = make_material()
    lot = make_lot(oil, KG, state=LotState.QUARANTINE)
    wanted = Holding(needs={oil.pk: KG}, holder="a", on=TODAY)
    with pytest.raises(NotEnoughStock):
        reserve(wanted)
    release_lot(lot.pk, reason="certificate came")
    assert reserve(wanted).lots[0][1] == KG


def test_blocking_leaves_balances_alone_and_what_was_held_can_be_given_back():
    oil = make_material()
    lot = make_lot(oil, KG, 100)
    held = reserve(Holding(needs={oil.pk: KG}, holder="a", on=TODAY))
    hold_lot(lot.pk, reason="smells")
    lot.refresh_from_db()
    assert (lot.on_hand, lot.reserved, lot.cost) == (KG, KG, 100)
    release(held.reservation.pk)
    lot.refresh_from_db()
    assert (lot.reserved, lot.state_reason) == (0, "smells")
    assert prove_books().holds


def test_the_history_of_a_lot_keeps_its_states():
    lot = make_lot(make_material(), KG)
    hold_lot(lot.pk, reason="smells")
    release_lot(lot.pk, reason="looked at")
    assert [row.state for row in lot.history.order_by("history_id")] == [
        "released",
        "blocked",
        "released",
    ]
