"""A delivery taken in by hand: lines as the invoice writes them, landed cost before it is kept."""

from decimal import Decimal

import pytest
from django.test import Client

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.models.catalog.suppliers import Supplier
from inventory.models.receiving.deliveries import Delivery
from inventory.models.stock.lots import Lot
from inventory.services.stock.proof import prove_books
from tests.inventory.making import TODAY, make_material
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
#: 1 US gallon is 3 785 411.784 mL (NIST SP 811); at 0.92 g/mL it weighs this many ng.
GALLON_OF_OIL = 3_785_411_784 * 920


def signed_in(role="owner", **values):
    client = Client()
    client.force_login(person(role, **values))
    return client


@pytest.fixture
def shop():
    make_material("olive", density_g_ml=Decimal("0.92"), density_temperature_c=Decimal(20))
    make_material("box", kind=Kind.PACKAGING.value, counted=True)
    return Supplier.objects.create(code="mill", name="Mill Lane (invented)")


def sent(lines, charges=(), **head):
    given = {
        "supplier": "mill",
        "received_on": TODAY.isoformat(),
        "invoice": "M-17",
        "note": "",
        "once": "k-1",
        **head,
    }
    for prefix, rows in (("lines", lines), ("charges", charges)):
        given |= {
            f"{prefix}-TOTAL_FORMS": str(len(rows)),
            f"{prefix}-INITIAL_FORMS": "0",
            f"{prefix}-MIN_NUM_FORMS": "0",
            f"{prefix}-MAX_NUM_FORMS": "1000",
        }
        for number, row in enumerate(rows):
            given |= {f"{prefix}-{number}-{name}": value for name, value in row.items()}
    return given


LINES = [
    {"item": "olive", "written": "2 x 1 gal", "price": "60", "supplier_lot": "O-8"},
    {"item": "Box", "written": "2 dozen", "price": "9.60"},
]
FREIGHT = [{"kind": "freight", "amount": "14", "basis": "value"}]


def test_lines_become_lots_with_their_landed_cost_once(shop):
    client = signed_in()
    first = client.post("/shelf/receive/", sent(LINES, FREIGHT))
    again = client.post("/shelf/receive/", sent(LINES, FREIGHT))
    assert first.status_code == again.status_code == 303
    oil, boxes = Lot.objects.order_by("id")
    assert oil.on_hand == round(2 * GALLON_OF_OIL) and boxes.on_hand == 24
    assert oil.cost + boxes.cost == 836_000, "goods and freight, to the last unit"
    assert oil.supplier_lot == "O-8" and prove_books().holds
    page = read(client.get(first["Location"]))
    assert oil.code in page and boxes.code in page and "$83.60" in page


def test_the_landed_cost_is_told_before_anything_is_kept(shop):
    page = read(signed_in().post("/shelf/receive/landed/", sent(LINES, FREIGHT)))
    assert "Olive" in page and "$83.60" in page
    assert not Delivery.objects.exists() and not Lot.objects.exists()


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ({"item": "nothing", "written": "1 kg", "price": "1"}, "No material or offer of theirs"),
        ({"item": "olive", "written": "2 furlongs", "price": "1"}, "furlongs"),
        ({"item": "olive", "written": "1 kg", "price": ""}, "price"),
        ({"item": "box", "written": "1 kg", "price": "1"}, "Box"),
    ],
)
def test_what_cannot_be_is_told_beside_its_line_and_nothing_typed_is_lost(shop, line, words):
    refused = signed_in().post("/shelf/receive/", sent([line]))
    page = read(refused)
    assert refused.status_code == 422 and words in page and line["written"] in page
    assert "M-17" in page and not Lot.objects.exists()


def test_a_delivery_without_lines_is_refused(shop):
    refused = signed_in().post("/shelf/receive/", sent([]))
    assert refused.status_code == 422 and "at least one line" in read(refused)


def test_a_viewer_does_not_receive(shop):
    client = signed_in("viewer")
    assert client.get("/shelf/receive/").status_code == 403
    assert client.get("/shelf/deliveries/").status_code == 200


def test_names_are_suggested_while_somebody_types(shop):
    page = signed_in().get("/shelf/receive/items/", {"lines-0-item": "oli", "supplier": "mill"})
    assert "Olive" in read(page)


def test_an_unknown_delivery_is_not_there(shop):
    assert signed_in().get("/shelf/deliveries/D-99999/").status_code == 404


def test_an_invoice_that_came_in_before_is_asked_about(shop):
    client = signed_in()
    assert client.post("/shelf/receive/", sent(LINES)).status_code == 303
    assert "another part" not in read(client.get("/shelf/receive/"))
    asked = client.post("/shelf/receive/", sent(LINES, once="k-2"))
    assert asked.status_code == 422 and Delivery.objects.count() == 1
    assert "came in on" in read(asked) and "another part of an invoice" in read(asked)
    meant = client.post("/shelf/receive/", sent(LINES, once="k-3", invoice_again="on"))
    assert meant.status_code == 303 and Delivery.objects.count() == 2


def test_what_cannot_be_read_hides_no_other_fault(shop):
    lines = [
        {"item": "olive", "written": "1 kg", "price": "a lot"},
        {"item": "olive", "written": "12 each", "price": "5"},
        {"item": "no such oil", "written": "1 kg", "price": "5"},
    ]
    answer = signed_in().post("/shelf/receive/", sent(lines, received_on="2200-01-01"))
    page = read(answer)
    assert answer.status_code == 422 and not Delivery.objects.exists()
    for told in ("This material is weighed", "No material or offer", "is dated today or earlier"):
        assert told in page
    assert page.count('aria-invalid="true"') == 4
