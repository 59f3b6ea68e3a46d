"""Locks take the lots that are named, and leave all others to everybody else."""

import pytest
from django.db import transaction

from inventory.models.stock.lots import Lot
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.counting.posting import post_session
from inventory.services.counting.sessions import FoundLot, NewSession, enter_finds, open_session
from inventory.services.stock.ledger import Origin
from inventory.services.stock.locks import lock_lots
from inventory.services.stock.reservations import Holding, reserve
from studio.foundation.errors import NotFound
from studio.foundation.units.grammar import parse_quantity
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.threads import at_once

BOOK = Origin(reference="count:1", note="leaked")


def count_in_session(lot):
    code = open_session(NewSession(counted_on=TODAY, lots=[lot.code])).code
    enter_finds(code, [FoundLot(lot=lot.code, found=parse_quantity("900 g"))])
    post_session(code)


VERBS = {
    "lock": lambda lot: lock_lots([lot.pk]),
    "count": lambda lot: count_lot(Counted(lot_id=lot.pk, found=KG, on=TODAY), origin=BOOK),
    "count session": count_in_session,
    "write off": lambda lot: spoil_lot(lot.pk, 1, origin=BOOK),
    "reserve": lambda lot: reserve(
        Holding(needs={lot.material_id: KG}, holder="batch:B-1", on=TODAY)
    ),
}


def free_lots(_):
    """What another connection could lock at this moment."""
    with transaction.atomic():
        return {lot.code for lot in Lot.objects.select_for_update(skip_locked=True)}


@pytest.mark.postgres
@pytest.mark.parametrize("verb", VERBS.values(), ids=VERBS)
def test_a_verb_locks_no_lot_beside_those_it_needs(transactional_db, verb):
    """SQLite has one lock for all rows, so only PostgreSQL can tell."""
    oil = make_material()
    # The first covers a need of 1 kg alone, so that the second is not reached.
    named, same, other = make_lot(oil, KG), make_lot(oil, KG), make_lot(make_material(), KG)
    with transaction.atomic():
        verb(named)
        (free,) = at_once(free_lots, [None])
    assert free == {same.code, other.code}


@pytest.mark.django_db
def test_the_lots_that_were_named_come_back_by_their_ids_in_order():
    oil = make_material()
    first, _, third = (make_lot(oil, KG) for _ in range(3))
    with transaction.atomic():
        locked = lock_lots([third.pk, first.pk, third.pk])
    assert list(locked) == [first.pk, third.pk]
    assert {lot.code for lot in locked.values()} == {first.code, third.code}


@pytest.mark.django_db
def test_a_lot_that_is_not_there_is_named_and_nothing_is_locked():
    lot = make_lot(make_material(), KG)
    with transaction.atomic():
        assert lock_lots([]) == {}
        with pytest.raises(NotFound, match=str(lot.pk + 7)):
            lock_lots([lot.pk, lot.pk + 7])
