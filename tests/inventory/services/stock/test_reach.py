"""However many lots a need reaches: the nearest are looked at first, all when they don't cover."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import NotEnoughStock
from inventory.services.stock.consumption import Actual, consume_reservation
from inventory.services.stock.ledger import Origin
from inventory.services.stock.picking import NEAREST
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import Holding, release, reserve
from tests.inventory.making import TODAY, make_lot, make_material

CONTROL = ("BEGIN", "COMMIT", "SAVEPOINT", "RELEASE", "ROLLBACK")
LOTS = 2 * NEAREST + 5


def statements(captured):
    return [q["sql"] for q in captured.captured_queries if not q["sql"].startswith(CONTROL)]


@pytest.fixture
def oil(database):
    """Lots of ten pieces each, the last received expiring first, one in five never."""
    material = make_material(counted=True)
    for n in range(LOTS):
        best_before = None if n % 5 == 0 else TODAY + timedelta(days=100 - n)
        make_lot(material, 10, 100, best_before=best_before)
    return material


@pytest.mark.parametrize("lots", [1, NEAREST - 1, NEAREST, NEAREST + 1, LOTS])
def test_the_order_of_use_is_the_same_however_far_it_reaches(oil, lots):
    held = reserve(Holding(needs={oil.pk: 10 * lots - 1}, holder="a", on=TODAY))
    in_order = sorted(
        oil.lots.all(), key=lambda lot: (lot.best_before is None, lot.best_before, lot.pk)
    )
    assert [lot.pk for lot, _ in held.lots] == [lot.pk for lot in in_order[:lots]]
    assert [amount for _, amount in held.lots] == [10] * (lots - 1) + [9]
    assert prove_books().holds


def test_one_more_than_all_is_a_shortage(oil):
    with pytest.raises(NotEnoughStock) as refused:
        reserve(Holding(needs={oil.pk: 10 * LOTS + 1}, holder="a", on=TODAY))
    assert refused.value.faults[0].details["available"] == str(10 * LOTS)


def test_reaching_further_takes_two_queries_more(oil):
    with CaptureQueriesContext(connection) as captured:
        reserve(Holding(needs={oil.pk: 10 * LOTS}, holder="a", on=TODAY))
    assert len(statements(captured)) == 8


def test_using_more_than_was_held_reaches_as_far(oil):
    held = reserve(Holding(needs={oil.pk: 5}, holder="a", on=TODAY))
    consume_reservation(
        held.reservation.pk,
        Actual(amounts={oil.pk: 10 * LOTS}),
        on=TODAY,
        origin=Origin(reference="a"),
    )
    assert {(lot.on_hand, lot.cost) for lot in oil.lots.all()} == {(0, 0)}
    assert prove_books().holds


def held_lines(lines, open_lots):
    """A reservation of `lines` materials that have `open_lots` more lots each."""
    needs = {}
    for _ in range(lines):
        material = make_material(counted=True)
        for _ in range(open_lots):
            make_lot(material, 10)
        needs[material.pk] = 15
    held = reserve(Holding(needs=needs, holder=f"lines:{lines}:{open_lots}", on=TODAY))
    return held.reservation.pk, needs


def consume_all(key, needs):
    actual = Actual(amounts={material: amount + 1 for material, amount in needs.items()})
    consume_reservation(key, actual, on=TODAY, origin=Origin(reference="a"))


@pytest.mark.parametrize(
    ("settle", "most"),
    [(consume_all, 9), (lambda key, _: release(key), 7)],
    ids=["consume", "release"],
)
def test_the_number_of_queries_to_settle_is_flat(database, settle, most):
    """In the number of lines, in open lots, and in the length of the history."""
    counted = []
    for lines, open_lots in [(1, 2), (5, 2), (50, 2), (1, 60), (1, 2)]:
        key, needs = held_lines(lines, open_lots)
        with CaptureQueriesContext(connection) as captured:
            settle(key, needs)
        counted.append(len(statements(captured)))
    assert len(set(counted)) == 1
    assert counted[0] <= most


def test_reading_to_reserve_does_not_grow_with_the_open_lots(database):
    """The plan of the locked read follows the index of the order of use; no lots are sorted."""
    material = make_material(counted=True)
    for _ in range(3):
        make_lot(material, 10)
    with CaptureQueriesContext(connection) as captured:
        reserve(Holding(needs={material.pk: 5}, holder="a", on=TODAY))
    read = statements(captured)[0]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # Three lots are read whole otherwise, being on one page.
            cursor.execute("SET enable_seqscan = off")
            cursor.execute("SET enable_sort = off")
        how = "EXPLAIN" if connection.vendor == "postgresql" else "EXPLAIN QUERY PLAN"
        cursor.execute(f"{how} {read}")
        plan = "\n".join(str(row) for row in cursor.fetchall())
    assert "lot_order_of_use" in plan
