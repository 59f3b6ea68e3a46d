"""Whom a recall reaches can be told: shipments of orders name their customers' contacts."""

import pytest
from django.utils import timezone

from costing.services.orders.shipping import ToLeave, ship_order
from inventory.paper.recall import recall_values
from inventory.queries.shipping.contacts import contacts_of
from inventory.queries.shipping.recall import recall_report
from inventory.services.shipping.recall import recall_lot
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from tests.costing.sales_making import make_shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def sent():
    shop = make_shop()
    shop.packaging()
    for name, value in (
        ("contact", "Pat (invented)"),
        ("phone", "+1 555 010 0"),
        ("email", "pat@corner.example"),
        ("address", "1 Mill Lane\nSaltmarsh"),
    ):
        setattr(shop.customer, name, value)
    shop.customer.save()
    lot = shop.cured(100)
    order = shop.order(24, parts={1: 24})
    return lot, ship_order(order.code, ToLeave(cartons=2)).shipment


def sent_to_somebody(lot):
    """Two bars, without an order."""
    lines, today = [ToShip(lot=lot.code, amount=2)], timezone.localdate()
    return ship(Shipping(customer_name="Somebody", reference="", shipped_on=today, lines=lines))


def test_a_shipment_of_an_order_names_its_customer(sent, django_assert_num_queries):
    lot, shipment = sent
    lines = [ToShip(lot=lot.code, amount=2)]
    bare = ship(
        Shipping(
            customer_name="Somebody", reference="", shipped_on=timezone.localdate(), lines=lines
        )
    )
    with django_assert_num_queries(1):
        found = contacts_of({shipment.code, bare.code})
    assert list(found) == [shipment.code] and found[shipment.code].is_known
    assert found[shipment.code].customer == "corner"
    with django_assert_num_queries(0):
        assert contacts_of(()) == {}


def test_the_paper_of_a_recall_says_how_each_is_reached(sent):
    lot, _ = sent
    lines = [ToShip(lot=lot.code, amount=2)]
    ship(
        Shipping(
            customer_name="Somebody", reference="", shipped_on=timezone.localdate(), lines=lines
        )
    )
    report = recall_report(recall_lot(lot.code, "rancid").code)
    told = {each["name"]: each["reach"] for each in recall_values(report)["customers"]}
    known = "Pat (invented), +1 555 010 0, pat@corner.example, 1 Mill Lane, Saltmarsh"
    assert told == {
        "Corner shop (invented)": known,
        "Somebody": "No telephone, e-mail or address is kept.",
    }
