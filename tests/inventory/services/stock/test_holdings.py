"""Several holders reserve together or not at all; what was made is held for who waits."""

import pytest

from inventory.domain.stock.lots import LotState
from inventory.errors import NotEnoughStock
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.reservations import Reservation
from inventory.services.stock.holdings import (
    Share,
    Together,
    hold_made,
    release_together,
    reserve_together,
)
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import Holding, release, reserve
from studio.foundation.errors import StateConflict
from tests.inventory.making import KG, TODAY, make_lot, make_material


def together(*shares, waits=None):
    wanted = [Share(holder=holder, needs=needs) for holder, needs in shares]
    return reserve_together(Together(shares=wanted, on=TODAY, waits=waits or {}))


def got(held):
    return [sum(amount for _, amount in each.lots) for each in held]


def test_each_holder_gets_its_own_out_of_the_same_lots(database):
    oil = make_material()
    lots = [make_lot(oil, KG, 100) for _ in range(3)]
    held = together(("a", {oil.pk: 3 * KG // 2}), ("b", {oil.pk: KG}))
    assert got(held) == [3 * KG // 2, KG]
    assert [lot.pk for lot, _ in held[0].lots] == [lots[0].pk, lots[1].pk]
    assert [each.reservation.holder for each in held] == ["a", "b"]
    references = StockEntry.objects.filter(verb="reserve").values_list("reference", flat=True)
    assert set(references) == {"a", "b"} and prove_books().holds


def test_one_shortage_holds_nothing_and_all_are_named(database):
    oil, lye, clay = make_material("oil"), make_material("lye"), make_material("clay")
    for material in (oil, lye, clay):
        make_lot(material, KG)
    with pytest.raises(NotEnoughStock) as refused:
        together(("a", {oil.pk: KG, clay.pk: KG}), ("b", {oil.pk: 1, lye.pk: 2 * KG}))
    assert {f.details["material"]: f.details["short"] for f in refused.value.faults} == {
        "oil": "0.000000001",
        "lye": "1000",
    }
    assert not Reservation.objects.exists() and not StockEntry.objects.filter(reserved__gt=0)


def test_what_may_wait_is_held_as_far_as_it_is_there_for_the_first_first(database):
    lye = make_material()
    make_lot(lye, KG)
    held = together(("a", {lye.pk: KG // 2}), ("b", {lye.pk: KG}), waits={lye.pk: KG // 2})
    assert got(held) == [KG // 2, KG // 2]
    with pytest.raises(NotEnoughStock) as refused:
        together(("c", {lye.pk: KG}), waits={lye.pk: KG - 1})
    assert refused.value.faults[0].details["needed"] == "0.000000001"
    assert got(together(("c", {lye.pk: KG}), waits={lye.pk: KG})) == [0]
    assert prove_books().holds


def test_a_holder_of_an_open_reservation_is_refused_with_all_others(database):
    oil = make_material()
    make_lot(oil, 5 * KG)
    reserve(Holding(needs={oil.pk: 1}, holder="b", on=TODAY))
    with pytest.raises(StateConflict, match="b already holds"):
        together(("a", {oil.pk: 1}), ("b", {oil.pk: 1}))
    assert Reservation.objects.count() == 1


def test_a_made_lot_goes_to_those_who_wait_as_far_as_it_reaches(database):
    oil, lye = make_material(), make_material()
    make_lot(oil, KG)
    a, b, c = (each.reservation.pk for each in together(*((h, {oil.pk: 1}) for h in "abc")))
    release(a)
    made = make_lot(lye, KG)
    waiting = [(a, KG), (b, 3 * KG // 4), (c, KG)]
    assert hold_made(made.pk, waiting) == {b: 3 * KG // 4, c: KG // 4}
    made.refresh_from_db()
    assert made.reserved == KG and prove_books().holds
    blocked = make_lot(lye, KG, state=LotState.BLOCKED)
    assert hold_made(blocked.pk, [(b, 1)]) == {}


def test_together_given_back_and_what_has_ended_is_passed_over(database):
    oil = make_material()
    lot = make_lot(oil, 5 * KG)
    held = together(*((holder, {oil.pk: KG}) for holder in "abc"))
    release(held[1].reservation.pk)
    release_together([each.reservation.pk for each in held], note="called off")
    lot.refresh_from_db()
    assert lot.reserved == 0
    assert {row.state for row in Reservation.objects.all()} == {"released"}
    assert StockEntry.objects.filter(note="called off").count() == 2
    assert prove_books().holds
