"""What leaves on a day before stood in the lot on that day, whatever came back since."""

from datetime import timedelta

import pytest

from inventory.domain.stock.ledger import Verb
from inventory.errors import DayRefusal
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.shipping.returns import Returning, return_shipment
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from tests.inventory.api.calls import Caller
from tests.inventory.making import TODAY, make_lot, make_material


def day(number):
    return TODAY - timedelta(days=30 - number)


def to_shop(amount, number):
    lines = [ToShip(amount=amount, material="bar")]
    return ship(
        Shipping(customer_name="Corner shop (invented)", shipped_on=day(number), lines=lines)
    )


@pytest.fixture
def lot():
    """Nine bars: four left on day 10, two of them came back on day 20; five were there between."""
    made = make_lot(make_material("bar", kind="bar", counted=True), 9, 900, received_on=day(0))
    shipment = to_shop(4, 10)
    return_shipment(shipment.code, Returning(returned_on=day(20), reason="split", lots=two(made)))
    return Lot.objects.get(pk=made.pk)


def two(lot):
    return {lot.code: 2}


def draw_as(verb):
    def leave(lot, amount, number):
        draw(lot.pk, amount, verb=verb, origin=Origin(reference="x:1", on=day(number)))

    return leave


def shipped(lot, amount, number):
    to_shop(amount, number)


def counted(lot, amount, number):
    found = Counted(lot_id=lot.pk, found=lot.on_hand - amount, on=day(number), reason="gone")
    count_lot(found, origin=Origin(reference="count:1"))


def spoiled(lot, amount, number):
    spoil_lot(lot.pk, amount, origin=Origin(reference="x:1", note="wet", on=day(number)))


WAYS = [shipped, counted, spoiled, draw_as(Verb.CONSUME)]


@pytest.mark.django_db
@pytest.mark.parametrize("leave", WAYS)
@pytest.mark.parametrize("number", [5, 10, 15, 19])
def test_no_more_leaves_than_stood_there(lot, leave, number):
    entries = StockEntry.objects.count()
    with pytest.raises(DayRefusal) as refused:
        leave(lot, 6, number)
    (fault,) = refused.value.faults
    assert fault.code == "more-than-stood"
    assert lot.code in fault.message and f"held 5 each on {day(max(number, 10))}" in fault.message
    assert StockEntry.objects.count() == entries
    leave(lot, 5, number)
    assert Lot.objects.get().on_hand == 2


@pytest.mark.django_db
@pytest.mark.parametrize("leave", WAYS)
@pytest.mark.parametrize("number", [20, 25, 30])
def test_what_came_back_leaves_again(lot, leave, number):
    leave(lot, 7, number)
    assert Lot.objects.get().on_hand == 0


@pytest.mark.django_db
def test_what_a_count_found_was_there_all_along(lot):
    count_lot(
        Counted(lot_id=lot.pk, found=8, on=day(25), reason="in a box"),
        origin=Origin(reference="count:1"),
    )
    shipped(lot, 6, 15)
    assert Lot.objects.get().on_hand == 2


@pytest.mark.django_db
def test_nor_by_http(lot):
    body = {
        "customer": "Corner shop (invented)",
        "shipped_on": str(day(15)),
        "lines": [{"material": "bar", "amount": "7 each"}],
    }
    answer = Caller("maker").post("shipments/", body)
    assert answer.status_code == 422, answer.content
    (fault,) = answer.json()["errors"]
    assert (fault["code"], fault["field"]) == ("more-than-stood", "shipped_on")
