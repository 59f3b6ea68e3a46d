"""A reservation set to what was weighed: other lots are held, the first are free again."""

from datetime import timedelta

import pytest

from inventory.domain.stock.lots import LotState
from inventory.errors import LotNotUsable, ReservationClosed
from inventory.models.stock.reservations import ReservationLine
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reholding import rehold
from inventory.services.stock.reservations import Holding, release, reserve
from studio.foundation.errors import NotFound
from tests.inventory.making import KG, TODAY, make_lot, make_material


@pytest.fixture
def oil(database):
    return make_material("oil")


def held_by(reservation):
    lines = ReservationLine.objects.filter(reservation=reservation, remaining__gt=0)
    return {line.lot.code: line.remaining for line in lines.select_related("lot")}


def reserved(material, amount=KG):
    return reserve(Holding(needs={material.pk: amount}, holder="batch:B-1", on=TODAY)).reservation


def test_it_holds_what_is_wanted_and_no_more(oil):
    first, second = make_lot(oil, 2 * KG, 100), make_lot(oil, 2 * KG, 100)
    other = make_lot(make_material("water"), KG)
    reservation = reserve(
        Holding(needs={oil.pk: KG, other.material_id: KG}, holder="batch:B-1", on=TODAY)
    ).reservation
    for wanted in (
        {second.code: KG},
        {first.code: KG // 4, second.code: 2 * KG},
        {first.code: 2 * KG},
        {first.code: 0, second.code: 1},
        {},
        {first.code: KG},
    ):
        rehold(reservation.pk, oil.pk, wanted, on=TODAY)
        kept = {code: amount for code, amount in wanted.items() if amount}
        assert held_by(reservation) == {**kept, other.code: KG}
        for lot in (first, second):
            lot.refresh_from_db()
            assert lot.reserved == wanted.get(lot.code, 0) and lot.on_hand == 2 * KG
        assert prove_books().differences == ()


def test_what_others_hold_stays_theirs(oil):
    lot = make_lot(oil, 2 * KG)
    reserve(Holding(needs={oil.pk: KG}, holder="batch:B-2", on=TODAY))
    reservation = reserved(oil)
    with pytest.raises(LotNotUsable):
        rehold(reservation.pk, oil.pk, {lot.code: KG + 1}, on=TODAY)
    assert held_by(reservation) == {lot.code: KG}


def test_lots_that_cannot_be_used_change_nothing(oil):
    lot = make_lot(oil, 2 * KG)
    reservation = reserved(oil)
    blocked = make_lot(oil, KG, state=LotState.BLOCKED)
    expired = make_lot(oil, KG, best_before=TODAY - timedelta(days=1))
    foreign = make_lot(make_material("water"), KG)
    for other in (blocked, expired, foreign):
        with pytest.raises(LotNotUsable):
            rehold(reservation.pk, oil.pk, {other.code: KG}, on=TODAY)
    with pytest.raises(NotFound):
        rehold(reservation.pk, oil.pk, {"nothing": KG}, on=TODAY)
    assert held_by(reservation) == {lot.code: KG}
    assert prove_books().differences == ()


def test_a_reservation_that_has_ended_holds_nothing_more(oil):
    lot = make_lot(oil, 2 * KG)
    reservation = reserved(oil)
    release(reservation.pk)
    with pytest.raises(ReservationClosed):
        rehold(reservation.pk, oil.pk, {lot.code: KG}, on=TODAY)
