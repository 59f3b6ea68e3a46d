"""Where lots stand, what left the shelf, and what came back."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.models.shipping.shipments import ShipmentReturn
from inventory.models.stock.lots import Location, Lot
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from inventory.services.stock.locations import move_lot
from tests.form_values import form_of
from tests.inventory.making import KG, make_lot, make_material
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
MOST_QUERIES = 14


def signed_in(role="owner"):
    client = Client()
    client.force_login(person(role))
    return client


def look(client, address):
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(address)
    assert answer.status_code == 200
    return read(answer), len(queries)


def bars(amount=100, cost=500_000):
    material = make_material("bar", kind="bar", counted=True, name="Plain bar")
    return make_lot(material, amount, cost)


def sent(lot, amount=24, customer="Corner shop (invented)", reference="PO-7", days_ago=0):
    day = timezone.localdate() - timedelta(days=days_ago)
    lines = [ToShip(lot=lot.code, amount=amount)]
    shipping = Shipping(customer_name=customer, reference=reference, shipped_on=day, lines=lines)
    return ship(shipping)


def test_a_place_is_added_renamed_and_closed():
    client = signed_in()
    given = {"name": "Low rack", "code": "rack", "kind": "curing-rack", "active": "on"}
    assert client.post("/shelf/locations/new/", given).status_code == 303
    move_lot(make_lot(make_material("olive"), KG).pk, "rack")
    page, _ = look(client, "/shelf/locations/")
    assert "Low rack" in page and "/shelf/lots/?place=rack" in page
    form = form_of(look(client, "/shelf/locations/rack/edit/")[0])
    assert client.post("/shelf/locations/rack/edit/", form | {"name": "Rack"}).status_code == 303
    stale = client.post("/shelf/locations/rack/edit/", form | {"note": "typed at length"})
    assert stale.status_code == 422 and "Somebody else saved it" in read(stale)
    assert "typed at length" in read(stale)
    fresh = form_of(look(client, "/shelf/locations/rack/edit/")[0])
    fresh.pop("active")
    assert client.post("/shelf/locations/rack/edit/", fresh).status_code == 303
    place = Location.objects.get()
    assert (place.name, place.active, place.revision) == ("Rack", False, 3)
    assert "Rack" not in look(client, "/shelf/locations/")[0].split('id="rows"')[1]
    assert "(closed)" in look(client, "/shelf/locations/?old=on")[0]
    # What stands there still can be counted.
    assert "Rack" in look(client, "/shelf/counts/new/?place=rack")[0]


def test_a_code_that_is_taken_is_refused_beside_the_field():
    Location.objects.create(code="rack", name="Low rack", kind="shelf")
    client = signed_in()
    given = {"name": "High rack", "code": "rack", "kind": "shelf", "active": "on"}
    answer = client.post("/shelf/locations/new/", given)
    page = read(answer)
    assert answer.status_code == 422 and 'id="id_code-error"' in page and "High rack" in page
    assert Location.objects.count() == 1


def test_shipments_are_found_by_what_is_known_of_them():
    lot = bars()
    sent(lot)
    sent(lot, customer="Harbor market (invented)", reference="", days_ago=9)
    client = signed_in()
    page, _ = look(client, "/shelf/shipments/")
    assert "Corner shop" in page and "Harbor market" in page
    today = timezone.localdate().isoformat()
    for query, only in (
        ("q=harbor", "Harbor"),
        ("q=PO-7", "Corner"),
        (f"since={today}", "Corner"),
        (f"until={timezone.localdate() - timedelta(days=1)}", "Harbor"),
    ):
        rows = look(client, f"/shelf/shipments/?{query}")[0].split('id="rows"')[1]
        assert only in rows and {"Harbor", "Corner"} - {only} == {
            name for name in ("Harbor", "Corner") if name not in rows
        }
    assert "Harbor" in look(client, f"/shelf/shipments/?q={lot.code}")[0]


def test_bars_come_back_into_their_lot_by_a_counter_entry():
    lot = bars()
    code = sent(lot).code
    client = signed_in()
    page, _ = look(client, f"/shelf/shipments/{code}/")
    # 24 of 100 pieces that cost 50.00
    assert "24 pieces" in page and "$12.00" in page
    form = form_of(look(client, f"/shelf/shipments/{code}/return/")[0])
    answer = client.post(
        f"/shelf/shipments/{code}/return/", form | {f"lot-{lot.code}": "4", "reason": "dented"}
    )
    assert answer.status_code == 303, read(answer)
    lot.refresh_from_db()
    assert (lot.on_hand, lot.cost) == (80, 400_000)
    page, _ = look(client, f"/shelf/shipments/{code}/")
    assert "4 came back" in page and "dented" in page
    again = form_of(look(client, f"/shelf/shipments/{code}/return/")[0])
    rest = again | {f"lot-{lot.code}": "20", "reason": "late"}
    assert client.post(f"/shelf/shipments/{code}/return/", rest).status_code == 303
    assert "came back already" in look(client, f"/shelf/shipments/{code}/return/")[0]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"pieces": "25"}, "still out"),
        ({"pieces": ""}, "Nothing of this shipment"),
        ({"reason": ""}, "required"),
        ({"returned_on": "2020-01-01"}, "It was shipped on"),
    ],
)
def test_a_return_that_cannot_be_is_refused_and_nothing_typed_is_lost(given, told):
    lot = bars()
    code = sent(lot).code
    client = signed_in()
    form = form_of(look(client, f"/shelf/shipments/{code}/return/")[0])
    form |= {"pieces": "3", "reason": "typed at length", **given}
    form[f"lot-{lot.code}"] = form.pop("pieces")
    answer = client.post(f"/shelf/shipments/{code}/return/", form)
    page = read(answer)
    assert answer.status_code == 422 and told in page
    assert form["reason"] in page and not ShipmentReturn.objects.exists()
    assert Lot.objects.get().on_hand == 76


def test_who_sees_no_costs_and_who_only_looks():
    lot = bars()
    code = sent(lot).code
    assert "$" not in look(signed_in("maker"), f"/shelf/shipments/{code}/")[0]
    viewer = signed_in("viewer")
    assert "Take bars back" not in look(viewer, f"/shelf/shipments/{code}/")[0]
    for address in (
        "/shelf/locations/new/",
        "/shelf/locations/rack/edit/",
        f"/shelf/shipments/{code}/return/",
    ):
        assert viewer.get(address).status_code == 403


def test_lists_ask_as_much_of_many_as_of_few():
    lot = bars(amount=1_000)
    olive = make_material("olive")
    client = signed_in()
    asked = []
    for size in (5, 195):
        for number in range(size):
            sent(lot, amount=1)
            place = Location.objects.create(
                code=f"p-{size}-{number}", name=f"Shelf {size}-{number}", kind="shelf"
            )
            move_lot(make_lot(olive, KG).pk, place.code)
        asked.append([look(client, f"/shelf/{each}/")[1] for each in ("shipments", "locations")])
    assert asked[0] == asked[1] and max(asked[0]) <= MOST_QUERIES
