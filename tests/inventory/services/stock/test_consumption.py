"""What consuming refuses; a refusal changes nothing."""

import pytest

from inventory.domain.stock.holds import Cause
from inventory.domain.stock.ledger import Verb
from inventory.errors import LedgerRefusal, LotNotUsable, NotEnoughStock
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import ReservationLine
from inventory.queries.stock.candidates import ChosenLot
from inventory.services.stock.consumption import Actual, consume_reservation, draw
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.reservations import Holding, reserve
from studio.foundation.errors import InvalidInput, NotFound
from tests.inventory.making import KG, TODAY, make_lot, make_material

BOOK = Origin(reference="batch:1")
pytestmark = pytest.mark.django_db


@pytest.fixture
def oil():
    return make_material("oil")


@pytest.fixture
def lot(oil):
    return make_lot(oil, 3 * KG, 900)


@pytest.fixture
def other(oil):
    return make_lot(oil, 3 * KG, 300)


@pytest.fixture
def held(oil, lot, other):
    return reserve(Holding(needs={oil.pk: 2 * KG}, holder="batch:1", on=TODAY)).reservation


def everything():
    return (
        list(Lot.objects.order_by("pk").values()),
        list(ReservationLine.objects.order_by("pk").values()),
        StockEntry.objects.count(),
    )


def refused(held, refusal, amounts, chosen=None):
    before = everything()
    with pytest.raises(refusal) as raised:
        consume_reservation(
            held.pk, Actual(amounts=amounts, chosen=chosen or {}), on=TODAY, origin=BOOK
        )
    assert everything() == before
    return [fault.code for fault in raised.value.faults]


def test_less_than_nothing_was_not_used(oil, held):
    assert refused(held, InvalidInput, {oil.pk: -1}) == ["negative-amount"]


def test_more_than_there_is_cannot_be_used(oil, held):
    assert refused(held, NotEnoughStock, {oil.pk: 6 * KG + 1}) == ["not-enough-stock"]


def test_all_that_there_is_can_be_used(oil, held, lot, other):
    consume_reservation(held.pk, Actual(amounts={oil.pk: 6 * KG}), on=TODAY, origin=BOOK)
    assert set(oil.lots.values_list("on_hand", "reserved", "cost")) == {(0, 0, 0)}


@pytest.mark.parametrize(
    ("amount", "code"),
    [(KG, "chosen-amounts-differ"), (3 * KG, "chosen-amounts-differ"), (None, "amount-missing")],
)
def test_chosen_lots_say_all_that_was_used_and_no_more(oil, held, other, amount, code):
    chosen = {oil.pk: [ChosenLot(code=other.code, amount=amount)]}
    assert refused(held, InvalidInput, {oil.pk: 2 * KG}, chosen) == [code]


def test_lots_of_a_material_that_was_not_used_are_not_drawn(oil, held):
    clay = make_material()
    earth = make_lot(clay, KG)
    chosen = {clay.pk: [ChosenLot(code=earth.code, amount=1)]}
    assert refused(held, InvalidInput, {oil.pk: KG}, chosen) == ["material-not-used"]


def test_a_lot_of_another_material_cannot_stand_in(oil, held):
    foreign = make_lot(make_material(), KG)
    chosen = {oil.pk: [ChosenLot(code=foreign.code, amount=KG)]}
    assert "lot-of-another-material" in refused(held, LotNotUsable, {oil.pk: KG}, chosen)


def test_an_unknown_lot_is_refused(oil, held):
    chosen = {oil.pk: [ChosenLot(code="no-such-lot", amount=KG)]}
    refused(held, NotFound, {oil.pk: KG}, chosen)


def test_what_is_held_for_another_is_not_taken(oil, held, other):
    reserve(Holding(needs={oil.pk: 3 * KG}, holder="batch:2", on=TODAY))
    refused(held, NotEnoughStock, {oil.pk: 3 * KG + 1})


def test_a_lot_blocked_after_it_was_reserved_must_be_replaced(oil, held, lot, other):
    hold_lot(lot.pk, reason="smells")
    refused(held, LotNotUsable, {oil.pk: 2 * KG})
    chosen = {oil.pk: [ChosenLot(code=other.code, amount=2 * KG)]}
    consume_reservation(
        held.pk, Actual(amounts={oil.pk: 2 * KG}, chosen=chosen), on=TODAY, origin=BOOK
    )
    lot.refresh_from_db()
    assert (lot.on_hand, lot.reserved) == (3 * KG, 0)


@pytest.mark.parametrize("verb", [Verb.CONSUME, Verb.SHIP])
@pytest.mark.parametrize("cause", [Cause.BY_HAND, Cause.ARRIVAL])
def test_only_a_released_lot_is_drawn_on(lot, verb, cause):
    hold_lot(lot.pk, cause=cause, reason="smells")
    before = everything()
    with pytest.raises(LotNotUsable):
        draw(lot.pk, 1, verb=verb, origin=BOOK)
    assert everything() == before
    assert draw(lot.pk, KG, verb=Verb.SPOIL, origin=BOOK).cost == 300


def test_drawing_leaves_what_is_reserved(held, lot):
    with pytest.raises(NotEnoughStock):
        draw(lot.pk, KG + 1, origin=BOOK)
    assert draw(lot.pk, KG, origin=BOOK).cost == 300


@pytest.mark.parametrize("amount", [0, -1])
def test_nothing_cannot_be_drawn(lot, amount):
    with pytest.raises(InvalidInput):
        draw(lot.pk, amount, origin=BOOK)


def test_drawing_is_for_what_goes_out(lot):
    with pytest.raises(LedgerRefusal):
        draw(lot.pk, 1, verb=Verb.RECEIVE, origin=BOOK)
