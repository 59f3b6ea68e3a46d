"""A delivery taken in by hand: lines as the invoice writes them, landed cost before it is kept."""

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from inventory.api.receiving.deliveries import ReceivedLineSerializer
from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.models.catalog.suppliers import Supplier
from inventory.models.receiving.deliveries import Delivery
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.pages.receiving.receive_form import LineForm
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


def test_without_a_supplier_the_page_leads_to_writing_one_down():
    page = read(signed_in().get("/shelf/receive/"))
    assert "No supplier is kept yet." in page and reverse("supplier-new") in page


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


def line(**values):
    return {"item": "olive", "written": "1 kg", "price": "5", **values}


@pytest.mark.parametrize(
    ("state", "reason", "cause"),
    [
        ("quarantine", "", "arrival"),
        ("quarantine", "the drum is dented", "arrival"),
        ("blocked", "it smells", "by-hand"),
    ],
)
def test_a_lot_is_held_on_arrival_where_that_is_asked_for(shop, state, reason, cause):
    client = signed_in("maker", see_costs=True)
    done = client.post("/shelf/receive/", sent([line(state=state, state_reason=reason)]))
    assert done.status_code == 303
    lot = Lot.objects.get()
    (held,) = Hold.objects.filter(lot=lot, lifted_at=None)
    assert (lot.state, held.cause) == (state, cause) and reason in held.reason
    page = read(client.get(done["Location"]))
    assert {"quarantine": "in quarantine", "blocked": "blocked"}[state] in page


def test_a_blocked_lot_wants_its_reason_beside_the_field(shop):
    refused = signed_in().post("/shelf/receive/", sent([line(state="blocked", note="in the yard")]))
    page = read(refused)
    assert refused.status_code == 422 and "Say why the lot is blocked" in page
    assert 'id="id_lines-0-state_reason-error"' in page and "in the yard" in page
    assert page.count("<details open>") == 1 and not Lot.objects.exists()


def test_all_that_a_certificate_states_is_kept_with_code_and_note(shop):
    stated = {
        "density_g_ml": "0.913",
        "density_temperature_c": "20",
        "sv_mg_koh_g": "190.5",
        "iodine_value": "82",
        "water_share": "0.1 %",
        "allergens": "Linalool 3 %",
    }
    given = line(lot_code="drum-7", note="from the back row", **stated)
    assert signed_in().post("/shelf/receive/", sent([given])).status_code == 303
    lot = Lot.objects.get()
    assert (lot.code, lot.note) == ("drum-7", "from the back row")
    assert (lot.density_g_ml, lot.sv_mg_koh_g) == (Decimal("0.913"), Decimal("190.5"))
    assert (lot.iodine_value, lot.water_share) == (82, Decimal("0.001"))
    assert [(one.name, one.share) for one in lot.certificate.allergens] == [
        ("Linalool", Decimal("0.03"))
    ]


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("allergens", "Linalool", "has no share"),
        ("purity", "a lot", "percent"),
        ("iodine_value", "-4", "iodine"),
        ("lot_code", "L-00042", "given out by the studio"),
        ("lot_code", "no code at all", "code"),
        ("density_temperature_c", "20", "without the density"),
    ],
)
def test_what_a_line_cannot_state_is_told_beside_its_field(shop, name, value, words):
    refused = signed_in().post("/shelf/receive/", sent([line(**{name: value})]))
    page = read(refused)
    assert refused.status_code == 422 and words.casefold() in page.casefold() and value in page
    assert "<details open>" in page and not Lot.objects.exists()


def test_weak_lye_is_asked_about_beside_its_purity_and_kept_once_that_is_confirmed(shop):
    make_material("lye", kind=Kind.ALKALI.value, alkali="NaOH", name="Sodium hydroxide")
    given, client = [line(item="lye", purity="91 %")], signed_in()
    asked = client.post("/shelf/receive/", sent(given))
    page = read(asked)
    assert asked.status_code == 422 and 'id="id_lines-0-purity-error"' in page
    assert "I have read the certificate again" in page and not Lot.objects.exists()
    meant = client.post("/shelf/receive/", sent(given, once="k-2", as_stated="on"))
    assert meant.status_code == 303 and Lot.objects.get().purity == Decimal("0.91")


def test_a_line_can_say_by_hand_whatever_it_can_say_to_the_api(shop):
    asked = set(ReceivedLineSerializer().fields) - {"order_line", "material", "offer", "packs"}
    assert asked <= LineForm().fields.keys()
