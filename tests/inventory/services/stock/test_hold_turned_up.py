"""What turns up of unsafe soap that was said to be gone is held again, whatever brings it back."""

from decimal import Decimal

import pytest

from inventory.domain.stock.holds import Cause, Decision, NewHold, Outcome
from inventory.domain.stock.ledger import Verb
from inventory.errors import LotNotUsable
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.counting.posting import Posting, post_session
from inventory.services.counting.sessions import FoundLot, NewSession, enter_finds, open_session
from inventory.services.shipping.returns import Returning, return_shipment
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from inventory.services.stock.consumption import draw
from inventory.services.stock.hold_verbs import decide_lot
from inventory.services.stock.holds import hold, lift
from inventory.services.stock.ledger import Origin
from inventory.services.stock.proof import prove_books
from studio.foundation.units.grammar import parse_quantity
from tests.inventory.making import TODAY, make_lot, make_material
from tests.studio.web.api.people import person

HERE = Origin(reference="x:1", note="burns")
GONE = [Outcome.DISPOSED, Outcome.REBATCHED]


def bars():
    return make_lot(make_material("bar", kind="bar", counted=True), 8)


def made_unsafe(lot, *more, cause=Cause.LYE):
    for each in (cause, *more):
        hold(
            [lot.pk], NewHold(cause=each, reason=f"{each} by 9 %", reference="batch:B-7"), on=TODAY
        )


def gone(lot, outcome=Outcome.DISPOSED, cause=Cause.LYE):
    """It is written off, and an owner says so."""
    left = Lot.objects.get(pk=lot.pk).on_hand
    if left:
        spoil_lot(lot.pk, left, origin=HERE)
    decide_lot(
        lot.pk, Decision(outcome=outcome, reason="burns", on=TODAY), cause=cause, by=person()
    )


def open_of(lot):
    return list(Hold.objects.filter(lot=lot, lifted_at=None).order_by("id"))


def by_count(lot):
    count_lot(Counted(lot_id=lot.pk, found=3, on=TODAY), origin=HERE)


def by_session(lot):
    code = open_session(NewSession(counted_on=TODAY, lots=[lot.code])).code
    enter_finds(code, [FoundLot(lot=lot.code, found=parse_quantity("3 each"), reason="box")])
    post_session(code, Posting())


@pytest.mark.parametrize("back", [by_count, by_session])
@pytest.mark.parametrize("outcome", GONE)
@pytest.mark.parametrize("cause", [Cause.LYE, Cause.LIMIT])
def test_a_count_brings_back_nothing_that_is_free(database, back, outcome, cause):
    lot = bars()
    made_unsafe(lot, cause=cause)
    gone(lot, outcome, cause)
    assert Lot.objects.get().state == "released"
    back(lot)
    (held,) = open_of(lot)
    assert (held.cause, held.reference) == (cause, "batch:B-7")
    assert held.reason.startswith(f"{cause} by 9 %") and "turned up is held again" in held.reason
    assert str(TODAY) in held.reason
    now = Lot.objects.get()
    assert (now.on_hand, now.state, now.state_reason) == (3, "blocked", held.reason)
    with pytest.raises(LotNotUsable):
        draw(lot.pk, 1, verb=Verb.SHIP, origin=HERE)
    assert prove_books().holds


def test_a_return_brings_back_nothing_that_is_free(database):
    lot = bars()
    line = ToShip(amount=8, material="bar")
    sent = ship(Shipping(customer_name="Shop (invented)", shipped_on=TODAY, lines=(line,)))
    made_unsafe(lot)
    gone(lot)
    return_shipment(sent.code, Returning(returned_on=TODAY, reason="burns"))
    assert [each.cause for each in open_of(lot)] == ["lye-heavy"]
    assert Lot.objects.get().state == "blocked"


def test_the_end_of_the_cure_before_or_after_frees_nothing(database):
    for first in (True, False):
        lot = bars()
        made_unsafe(lot, Cause.CURE)
        gone(lot)
        if first:
            lift(Cause.CURE, "batch:B-7", on=TODAY, reason="over")
        by_count(lot)
        if not first:
            lift(Cause.CURE, "batch:B-7", on=TODAY, reason="over")
        assert [each.cause for each in open_of(lot)] == ["lye-heavy"]
        database.restore()


def test_it_may_be_said_to_be_gone_again_and_turn_up_again_without_longer_words(database):
    lot = bars()
    made_unsafe(lot)
    told = set()
    for _ in range(3):
        gone(lot)
        by_count(lot)
        (held,) = open_of(lot)
        told.add(held.reason)
    assert len(told) == 1


def test_the_last_decision_counts_and_sound_soap_is_left_alone(database):
    lot = bars()
    by_count(lot)
    assert open_of(lot) == []
    made_unsafe(lot)
    gone(lot)
    by_count(lot)
    measured = Decision(
        outcome=Outcome.MEASURED,
        reason="titrated",
        on=TODAY,
        free_alkali=Decimal(0),
        measured_on=TODAY,
    )
    decide_lot(lot.pk, measured, by=person())
    count_lot(Counted(lot_id=lot.pk, found=5, on=TODAY), origin=HERE)
    assert (open_of(lot), Lot.objects.get().state) == ([], "released")


def test_what_was_made_of_it_before_keeps_its_own_decision(database):
    lot = bars()
    made = make_lot(make_material(), 5, made_of={lot.pk: 1})
    made_unsafe(lot)
    measured = Decision(
        outcome=Outcome.MEASURED,
        reason="titrated",
        on=TODAY,
        free_alkali=Decimal(0),
        measured_on=TODAY,
    )
    decide_lot(made.pk, measured, by=person())
    gone(lot)
    by_count(lot)
    assert open_of(lot) and not open_of(made)
