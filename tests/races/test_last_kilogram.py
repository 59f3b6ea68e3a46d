"""Many threads, each with a connection of its own, want the same stock at the same moment."""

import random
from datetime import timedelta

import pytest
from django.db import IntegrityError

from inventory.errors import LotNotUsable, NotEnoughStock, ReservationClosed
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.reservations import Reservation, ReservationState
from inventory.queries.stock.candidates import ChosenLot, candidates
from inventory.services.stock import reservations
from inventory.services.stock.consumption import Actual, consume_reservation
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import Holding, expire_reservations, release, reserve
from studio.foundation.errors import StateConflict
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.threads import at_once

FIGHTERS = 16
ROUNDS = range(4)


def fight(needs, fighters=FIGHTERS, holder="fighter"):
    """What each fighter got, or why not, when all reserve `needs` at once."""
    return at_once(
        lambda n: reserve(Holding(needs=needs, holder=f"{holder}:{n}", on=TODAY)),
        range(fighters),
    )


def kinds(answers):
    return {type(answer) for answer in answers}


def assert_books_are_proved():
    proof = prove_books()
    assert proof.holds, proof.differences


def test_the_last_kilogram_is_never_oversold(database):
    """A kilogram in three lots, wanted in parts of 300 g: three win, and 100 g are left."""
    for turn in ROUNDS:
        oil = make_material()
        for amount in (KG // 2, KG // 4, KG // 4):
            make_lot(oil, amount, 1000)
        answers = fight({oil.pk: 3 * KG // 10}, holder=f"round:{turn}")
        won = [answer for answer in answers if not isinstance(answer, Exception)]
        assert len(won) == 3
        assert kinds(answers) == {type(won[0]), NotEnoughStock}
        assert sum(lot.reserved for lot in oil.lots.all()) == 9 * KG // 10
    assert_books_are_proved()


def test_everyone_wins_while_there_is_enough_for_all(database):
    """A pick that others were quicker with is tried again, and is no shortage."""
    for turn in ROUNDS:
        oil = make_material()
        for _ in range(FIGHTERS):
            make_lot(oil, KG)
        answers = fight({oil.pk: KG}, holder=f"round:{turn}")
        assert [a for a in answers if isinstance(a, Exception)] == []
        assert {lot.reserved for lot in oil.lots.all()} == {KG}
    assert_books_are_proved()


def test_several_materials_in_any_order_never_deadlock(database):
    """Eight threads hold, give back and consume five materials, each in an order of its own."""
    stocked = [make_material() for _ in range(5)]
    for material in stocked * 4:
        make_lot(material, 3 * KG, 777)
    materials = [material.pk for material in stocked]

    def work(n):
        order = random.Random(n)
        for turn in range(4):
            mixed = order.sample(materials, 4)
            needs = {pk: order.randint(1, KG // 2) for pk in mixed}
            held = reserve(Holding(needs=needs, holder=f"{n}:{turn}", on=TODAY))
            if turn % 2:
                release(held.reservation.pk)
            else:
                used = {pk: needs[pk] + order.randint(-5, 5) for pk in reversed(mixed)}
                origin = Origin(reference=f"{n}:{turn}")
                consume_reservation(
                    held.reservation.pk, Actual(amounts=used), on=TODAY, origin=origin
                )

    assert at_once(work, range(8)) == [None] * 8
    assert not Reservation.objects.filter(state=ReservationState.OPEN).exists()
    assert_books_are_proved()


def test_consuming_beyond_what_was_held_picks_again_too(database):
    """Each holds 1 kg and uses 2: there is just enough for all, lot by lot."""
    oil = make_material()
    for _ in range(2 * 8):
        make_lot(oil, KG, 10)
    held = [reserve(Holding(needs={oil.pk: KG}, holder=f"{n}", on=TODAY)) for n in range(8)]
    answers = at_once(
        lambda one: consume_reservation(
            one.reservation.pk,
            Actual(amounts={oil.pk: 2 * KG}),
            on=TODAY,
            origin=Origin(reference="x"),
        ),
        held,
    )
    assert [a for a in answers if isinstance(a, Exception)] == []
    assert {(lot.on_hand, lot.cost) for lot in oil.lots.all()} == {(0, 0)}
    assert_books_are_proved()


def test_a_holder_gets_one_reservation_however_many_ask(database):
    """Each asks for another material, so that no lock keeps them apart."""
    materials = [make_material() for _ in range(8)]
    for material in materials:
        make_lot(material, KG)
    answers = at_once(
        lambda m: reserve(Holding(needs={m.pk: KG}, holder="batch:1", on=TODAY)), materials
    )
    assert sum(not isinstance(answer, Exception) for answer in answers) == 1
    assert {type(a) for a in answers if isinstance(a, Exception)} == {StateConflict}
    assert_books_are_proved()


def test_a_lot_is_reserved_or_blocked_first_but_never_picked_once_blocked(database):
    for turn in ROUNDS:
        oil = make_material()
        lot = make_lot(oil, KG)

        def work(n, lot=lot, oil=oil, turn=turn):
            if n == 0:
                return hold_lot(lot.pk, reason="smells")
            return reserve(Holding(needs={oil.pk: KG // 8}, holder=f"{turn}:{n}", on=TODAY))

        answers = at_once(work, range(8))
        won = [a for a in answers[1:] if not isinstance(a, Exception)]
        assert {type(a) for a in answers[1:] if isinstance(a, Exception)} <= {NotEnoughStock}
        lot.refresh_from_db()
        assert (lot.state, lot.reserved) == ("blocked", len(won) * (KG // 8))
    assert_books_are_proved()


def test_a_reservation_ends_exactly_once(database):
    """Released, consumed and expired at once: one of them happens, the rest are told so."""
    for turn in ROUNDS:
        oil = make_material()
        lot = make_lot(oil, KG, 1000)
        held = reserve(
            Holding(needs={oil.pk: KG}, holder=f"{turn}", on=TODAY, expires_on=TODAY)
        ).reservation

        def work(way, held=held, oil=oil):
            if way == "release":
                return release(held.pk)
            if way == "expire":
                return expire_reservations(today=TODAY + timedelta(days=1))
            return consume_reservation(
                held.pk, Actual(amounts={oil.pk: KG}), on=TODAY, origin=Origin(reference="x")
            )

        ways = ["release", "consume", "expire", "consume", "release", "expire"]
        answers = at_once(work, ways)
        ended = [a for a in answers if a != 0 and not isinstance(a, ReservationClosed)]
        assert len(ended) == 1
        lot.refresh_from_db()
        held.refresh_from_db()
        gone = held.state == ReservationState.CONSUMED
        assert (lot.on_hand, lot.reserved) == (0 if gone else KG, 0)
        assert StockEntry.objects.filter(lot=lot).count() == 3
    assert_books_are_proved()


def test_a_chosen_lot_that_others_took_is_refused_by_name(database):
    oil = make_material()
    lot = make_lot(oil, KG)
    make_lot(oil, 20 * KG)
    chosen = {oil.pk: [ChosenLot(code=lot.code)]}
    answers = at_once(
        lambda n: reserve(Holding(needs={oil.pk: KG}, holder=f"{n}", on=TODAY, chosen=chosen)),
        range(8),
    )
    assert sum(not isinstance(answer, Exception) for answer in answers) == 1
    assert {type(a) for a in answers if isinstance(a, Exception)} == {LotNotUsable}
    assert_books_are_proved()


def test_lots_received_at_once_get_codes_of_their_own(database):
    oil = make_material()
    answers = at_once(lambda n: make_lot(oil, KG, n), range(FIGHTERS))
    assert [a for a in answers if isinstance(a, Exception)] == []
    assert len({lot.code for lot in answers}) == FIGHTERS
    assert_books_are_proved()


@pytest.mark.postgres
def test_without_row_locks_the_checks_still_refuse_to_oversell(transactional_db, monkeypatch):
    """The fight can be lost: unlocked, some run into the CHECK; none gets what is not there.

    On SQLite the write lock is taken by BEGIN IMMEDIATE, so there is nothing to leave out.
    """
    refused = []
    monkeypatch.setattr(
        reservations,
        "lock_candidates",
        candidates,
    )
    for turn in range(20):
        oil = make_material()
        make_lot(oil, KG, 1000)
        answers = fight({oil.pk: KG}, holder=f"round:{turn}")
        assert sum(not isinstance(answer, Exception) for answer in answers) == 1
        refused += [a for a in answers if isinstance(a, IntegrityError)]
        if refused:
            break
    assert refused
    assert all("lot_reserved_within_on_hand" in str(refusal) for refusal in refused)
    assert_books_are_proved()
