"""Counts bring the books to the shelf; what spoiled is written off with a reason."""

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.errors import LedgerRefusal, NotEnoughStock
from inventory.models.counting.counts import StockCount
from inventory.models.stock.ledger import StockEntry
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import Holding, reserve
from studio.foundation.errors import InvalidInput, NotFound
from tests.inventory.making import KG, TODAY, make_lot, make_material

BOOK = Origin(reference="count:1", note="leaked")
pytestmark = pytest.mark.django_db


@pytest.fixture
def lot():
    return make_lot(make_material(), 4 * KG, 1000)


def found(lot, amount):
    record = count_lot(Counted(lot_id=lot.pk, found=amount, on=TODAY), origin=BOOK)
    lot.refresh_from_db()
    return record


@pytest.mark.parametrize(
    ("amount", "cost"), [(3 * KG, 750), (5 * KG, 1250), (0, 0), (4 * KG, 1000)]
)
def test_cost_goes_and_comes_in_proportion(lot, amount, cost):
    record = found(lot, amount)
    assert (lot.on_hand, lot.cost) == (amount, cost)
    assert (record.expected, record.found) == (4 * KG, amount)


def test_a_count_and_its_entry_share_a_posting(lot):
    record = found(lot, 3 * KG)
    entry = StockEntry.objects.get(posting=record.posting)
    assert (entry.verb, entry.on_hand, entry.cost) == ("count", -KG, -250)


def test_a_count_that_agrees_enters_nothing_but_is_kept(lot):
    found(lot, 4 * KG)
    assert StockCount.objects.count() == 1
    assert not StockEntry.objects.filter(verb="count").exists()


def test_a_miscount_and_its_correction_cancel(lot):
    found(lot, 2 * KG)
    found(lot, 4 * KG)
    assert (lot.on_hand, lot.cost) == (4 * KG, 1000)


def test_what_turns_up_in_an_empty_lot_costs_nothing(lot):
    """Its cost went with what was taken; what is found is there, and worth nothing on the books."""
    found(lot, 0)
    assert (lot.on_hand, lot.cost) == (0, 0)
    record = found(lot, 2 * KG)
    assert (lot.on_hand, lot.cost) == (2 * KG, 0)
    entry = StockEntry.objects.get(posting=record.posting)
    assert (entry.on_hand, entry.cost) == (2 * KG, 0)
    assert prove_books().holds


def test_less_than_is_reserved_is_refused_and_not_kept(lot):
    reserve(Holding(needs={lot.material_id: 2 * KG}, holder="a", on=TODAY))
    with pytest.raises(LedgerRefusal, match="2000 g reserved"):
        found(lot, 2 * KG - 1)
    assert not StockCount.objects.exists()
    found(lot, 2 * KG)
    assert (lot.on_hand, lot.reserved, lot.cost) == (2 * KG, 2 * KG, 500)


def test_less_than_nothing_is_not_found(lot):
    with pytest.raises(InvalidInput):
        found(lot, -1)


def test_a_day_to_come_is_not_counted_yet(lot):
    tomorrow = timezone.localdate() + timedelta(days=1)
    with pytest.raises(InvalidInput, match="is dated today or earlier"):
        count_lot(Counted(lot_id=lot.pk, found=KG, on=tomorrow), origin=BOOK)
    assert not StockCount.objects.exists()


def test_an_unknown_lot_is_not_counted(db):
    with pytest.raises(NotFound):
        count_lot(Counted(lot_id=10**9, found=1, on=TODAY), origin=BOOK)


def test_what_spoiled_takes_its_cost_along(lot):
    spoil_lot(lot.pk, KG, origin=BOOK)
    lot.refresh_from_db()
    assert (lot.on_hand, lot.cost) == (3 * KG, 750)


@pytest.mark.parametrize(
    ("amount", "note", "refusal"),
    [
        (0, "leaked", InvalidInput),
        (-1, "leaked", InvalidInput),
        (KG, "  ", InvalidInput),
        (4 * KG + 1, "leaked", NotEnoughStock),
    ],
)
def test_writing_off_needs_an_amount_and_a_reason(lot, amount, note, refusal):
    with pytest.raises(refusal):
        spoil_lot(lot.pk, amount, origin=Origin(reference="x", note=note))
    assert StockEntry.objects.count() == 1
