"""Lots come into being with what they hold and what they cost."""

from datetime import timedelta

import pytest

from inventory.domain.stock.ledger import Verb
from inventory.errors import LedgerRefusal, MaterialRefusal
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, add_cost, open_lots
from inventory.services.stock.proof import prove_books
from tests.inventory.making import KG, TODAY, make_lot, make_material

BOOK = Origin(reference="delivery:1")
pytestmark = pytest.mark.django_db


def new(material, **values):
    return NewLot(**{"material": material, "amount": KG, "cost": 5, "received_on": TODAY, **values})


def test_lots_opened_together_share_a_posting_and_count_on():
    oil = make_material()
    lots = open_lots([new(oil), new(oil, code="own"), new(oil)], verb=Verb.RECEIVE, origin=BOOK)
    assert [lot.code for lot in lots] == ["L-00001", "own", "L-00002"]
    assert StockEntry.objects.values("posting").distinct().count() == 1
    assert prove_books().holds


@pytest.mark.parametrize(("own", "expected"), [(None, 10), (3, 3)])
def test_shelf_life_gives_the_best_before_unless_the_lot_has_its_own(own, expected):
    oil = make_material(shelf_life_days=10)
    given = None if own is None else TODAY + timedelta(days=own)
    (lot,) = open_lots([new(oil, best_before=given)], verb=Verb.PRODUCE, origin=BOOK)
    assert lot.best_before == TODAY + timedelta(days=expected)


@pytest.mark.parametrize("amount", [0, -1])
def test_a_lot_holds_more_than_nothing(amount):
    oil = make_material()
    with pytest.raises(MaterialRefusal) as refused:
        open_lots([new(oil), new(oil, amount=amount)], verb=Verb.RECEIVE, origin=BOOK)
    assert refused.value.faults[0].field == "lines.1"
    assert not Lot.objects.exists()


@pytest.mark.parametrize("verb", [Verb.CONSUME, Verb.SPOIL, Verb.RESERVE])
def test_only_what_comes_in_opens_a_lot(verb):
    oil = make_material()
    with pytest.raises(LedgerRefusal):
        open_lots([new(oil)], verb=verb, origin=BOOK)
    assert not Lot.objects.exists()


def test_nothing_costs_less_than_nothing():
    oil = make_material()
    with pytest.raises(LedgerRefusal):
        open_lots([new(oil, cost=-1)], verb=Verb.RECEIVE, origin=BOOK)
    assert not Lot.objects.exists()


@pytest.mark.parametrize("more", [7, -5])
def test_cost_is_added_without_moving_anything(more):
    lot = make_lot(make_material(), KG, 5)
    add_cost(lot.pk, more, origin=BOOK)
    lot.refresh_from_db()
    assert (lot.on_hand, lot.cost) == (KG, 5 + more)


@pytest.mark.parametrize("more", [0, -6])
def test_cost_is_neither_nothing_nor_more_than_there_is(more):
    lot = make_lot(make_material(), KG, 5)
    with pytest.raises(LedgerRefusal):
        add_cost(lot.pk, more, origin=BOOK)
    lot.refresh_from_db()
    assert lot.cost == 5
