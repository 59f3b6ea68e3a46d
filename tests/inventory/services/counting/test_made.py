"""What was made here is counted to no more than was made of it, or went into it."""

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.domain.stock.ledger import Change, Verb
from inventory.errors import LedgerRefusal
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.locks import lock_lots
from inventory.services.stock.production import NewLot, open_lots
from tests.inventory.making import TODAY, make_lot, make_material

HERE = Origin(reference="batch:B-1", note="spilt", on=TODAY)
G = 10**9


def made(amount, *, went_in=0, counted=False, **values):
    parts = {make_lot(make_material(), went_in).pk: went_in} if went_in else {}
    new = NewLot(
        material=make_material(counted=counted),
        amount=amount,
        cost=100,
        received_on=TODAY,
        made_of=parts,
        **values,
    )
    return open_lots([new], verb=Verb.PRODUCE, origin=HERE)[0]


def found(lot, amount):
    count_lot(Counted(lot_id=lot.pk, found=amount, on=TODAY), origin=HERE)
    lot.refresh_from_db()
    return lot.on_hand


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(part=st.tuples(*[st.integers(1, 300)] * 3))
def test_what_was_lost_is_found_again_and_what_was_used_is_not(database, part):
    used, spoiled, missing = part
    lot = made(1000)
    draw(lot.pk, used, verb=Verb.CONSUME, origin=HERE)
    spoil_lot(lot.pk, spoiled, origin=HERE)
    found(lot, 1000 - used - spoiled - missing)
    with pytest.raises(LedgerRefusal, match="was made here"):
        found(lot, 1000 - used + 1)
    assert found(lot, 1000 - used) == 1000 - used
    database.restore()


def test_a_pour_read_too_low_is_counted_up_to_what_went_in_without_its_steam(database):
    lot = made(143 * G, went_in=1440 * G, steam_ng=40 * G)
    assert found(lot, 1400 * G) == 1400 * G
    with pytest.raises(LedgerRefusal, match="143 g came out of 1400 g that went in"):
        found(lot, 1400 * G + 1)


def test_of_pieces_there_are_as_many_as_were_made_whatever_they_weighed(database):
    bars = made(9, went_in=1400 * G, counted=True)
    with pytest.raises(LedgerRefusal, match="9 each came out, and 0 each") as refusal:
        found(bars, 10)
    assert [(each.code, each.field) for each in refusal.value.faults] == [
        ("more-than-made", "found")
    ]
    draw(bars.pk, 4, verb=Verb.SHIP, origin=HERE)
    with pytest.raises(LedgerRefusal, match="more of it than 5 each"):
        found(bars, 6)


def test_what_was_counted_too_high_before_is_counted_down_and_no_higher(database):
    lot = made(9, counted=True)
    with transaction.atomic():
        rows = lock_lots([lot.pk])
        post([(lot.pk, Change(Verb.COUNT, on_hand=891))], lots=rows, origin=HERE)
    lot.refresh_from_db()
    with pytest.raises(LedgerRefusal):
        found(lot, 901)
    assert found(lot, 900) == 900
    assert found(lot, 8) == 8
