"""Unsafe soap may be used up in a rebatch that chooses it; what is made of it is held, too."""

import pytest

from inventory.domain.stock.holds import Cause, NewHold
from inventory.domain.stock.ledger import Verb
from inventory.errors import LotNotUsable, NotEnoughStock, NotForYou
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.queries.stock.candidates import ChosenLot
from inventory.services.stock.consumption import Actual, consume_reservation, draw
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.holding_more import hold as add
from inventory.services.stock.holds import hold
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots, parts_of
from inventory.services.stock.reholding import rehold
from inventory.services.stock.reservations import Holding, reserve
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.studio.web.api.people import person

BATCH = "batch:B-9"


def unsafe(*causes):
    soap = make_material("grated")
    lot = make_lot(soap, KG)
    for cause in causes:
        hold([lot.pk], NewHold(cause=cause, reason=cause.value, reference="batch:B-7"), on=TODAY)
    return lot


def wish(lot, holder=BATCH, *, chosen=True):
    named = {lot.material_id: [ChosenLot(code=lot.code)]} if chosen else {}
    return Holding(needs={lot.material_id: KG // 2}, holder=holder, on=TODAY, chosen=named)


@pytest.mark.parametrize("causes", [(Cause.LYE,), (Cause.LIMIT, Cause.CURE)])
def test_a_batch_that_chooses_it_may_use_it_and_hands_its_hold_on(database, causes):
    lot = unsafe(*causes)
    held = reserve(wish(lot), by=person())
    origin = Origin(reference=BATCH)
    actual = Actual(amounts={lot.material_id: KG // 2})
    taken = consume_reservation(held.reservation.pk, actual, on=TODAY, origin=origin)
    new = NewLot(
        material=make_material("again"),
        amount=KG,
        cost=0,
        received_on=TODAY,
        made_of=parts_of(taken),
    )
    (made,) = open_lots([new], verb=Verb.PRODUCE, origin=origin)
    assert made.state == "blocked"
    rows = Hold.objects.filter(lot=made)
    assert [(row.cause, row.reference) for row in rows] == [(causes[0].value, "batch:B-7")]


def test_nobody_else_may_and_no_batch_takes_it_unasked(database):
    lot = unsafe(Cause.LYE)
    with pytest.raises(NotEnoughStock):
        reserve(wish(lot, chosen=False))
    with pytest.raises(LotNotUsable):
        reserve(wish(lot, holder="order:O-1"))
    with pytest.raises(LotNotUsable):
        draw(lot.pk, 1, verb=Verb.SHIP, origin=Origin(reference="shipment:S-1"))


@pytest.mark.parametrize("more", [Cause.RECALL, Cause.ARRIVAL, Cause.BY_HAND])
def test_what_else_holds_it_keeps_it_from_a_rebatch(database, more):
    with pytest.raises(LotNotUsable):
        reserve(wish(unsafe(Cause.LYE, more)), by=person())


def test_a_hold_by_hand_after_the_reservation_stops_the_pour(database):
    lot = unsafe(Cause.LYE)
    held = reserve(wish(lot), by=person())
    hold_lot(lot.pk, reason="moldy")
    actual = Actual(amounts={lot.material_id: KG // 2})
    with pytest.raises(LotNotUsable):
        consume_reservation(held.reservation.pk, actual, on=TODAY, origin=Origin(reference=BATCH))


def test_what_is_found_unsafe_after_the_reservation_is_used_only_where_it_is_chosen(database):
    """A batch took it as sound soap: that it is lye-heavy by now nobody has chosen."""
    lot = make_lot(make_material("grated"), KG)
    held = reserve(wish(lot, chosen=False))
    hold([lot.pk], NewHold(cause=Cause.LYE, reason="too pure", reference="batch:B-7"), on=TODAY)

    def pour(by=None, **chosen):
        actual = Actual(amounts={lot.material_id: KG // 2}, **chosen)
        origin = Origin(reference=BATCH, by=by)
        return consume_reservation(held.reservation.pk, actual, on=TODAY, origin=origin)

    with pytest.raises(LotNotUsable):
        pour()
    chosen = {lot.material_id: [ChosenLot(code=lot.code, amount=KG // 2)]}
    with pytest.raises(NotForYou):
        pour(person("maker"), chosen=chosen)
    (taken,) = pour(person(), chosen=chosen)
    assert taken.lot.pk == lot.pk


def test_more_of_what_is_held_is_no_choice_of_what_was_found_unsafe(database):
    """An owner reads a scale and names no lot: nobody has chosen what is lye-heavy by now."""
    lot, owner = make_lot(make_material("grated"), KG), person()
    held = reserve(wish(lot, chosen=False), by=owner)
    hold([lot.pk], NewHold(cause=Cause.LYE, reason="too pure", reference="batch:B-7"), on=TODAY)

    def weigh(**named):
        more = {lot.code: KG // 2 + 1}
        rehold(held.reservation.pk, lot.material_id, more, on=TODAY, by=owner, **named)

    with pytest.raises(NotForYou):
        weigh(named=False)
    assert Lot.objects.get().reserved == KG // 2
    weigh()
    assert Lot.objects.get().reserved == KG // 2 + 1


@pytest.mark.parametrize("cause", [Cause.LYE, Cause.LIMIT])
def test_an_owner_chooses_it_first_whoever_uses_it_then(database, cause):
    lot, maker = unsafe(cause), person("maker")
    for by in (None, maker):
        with pytest.raises(NotForYou, match="An owner must choose it"):
            reserve(wish(lot), by=by)
    assert Lot.objects.get().reserved == 0
    held = reserve(wish(lot), by=person())
    more = {lot.code: KG // 2 + 1}  # as weighed at the bench
    rehold(held.reservation.pk, lot.material_id, more, on=TODAY, by=maker)
    actual = Actual(amounts={lot.material_id: KG // 2 + 1})
    origin = Origin(reference=BATCH, by=maker)
    consume_reservation(held.reservation.pk, actual, on=TODAY, origin=origin)
    assert Lot.objects.get().on_hand == KG - KG // 2 - 1


def test_no_maker_swaps_it_in_or_adds_it(database):
    lot, maker = unsafe(Cause.LYE), person("maker")
    sound = make_lot(lot.material, KG)
    held = reserve(wish(lot, chosen=False), by=maker)
    with pytest.raises(NotForYou):
        rehold(held.reservation.pk, lot.material_id, {lot.code: KG // 2}, on=TODAY, by=maker)
    with pytest.raises(NotForYou):
        add(wish(lot), by=maker)
    assert Lot.objects.get(pk=sound.pk).reserved == KG // 2
    rehold(held.reservation.pk, lot.material_id, {lot.code: KG // 2}, on=TODAY, by=person())
    assert Lot.objects.get(pk=lot.pk).reserved == KG // 2
