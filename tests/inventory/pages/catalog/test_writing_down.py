"""Materials, suppliers and offers by hand."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer, Supplier
from tests.form_values import form_of
from tests.inventory.buying import a_supplier, an_offer, an_oil
from tests.inventory.making import KG
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
MOST_QUERIES = 12
NO_BREAKS = {"breaks-TOTAL_FORMS": "2", "breaks-INITIAL_FORMS": "0"}


def signed_in(role="owner"):
    client = Client()
    client.force_login(person(role))
    return client


def look(client, address):
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(address)
    assert answer.status_code == 200 and len(queries) <= MOST_QUERIES
    return read(answer)


def test_a_material_is_written_down_with_all_that_is_known_of_it():
    client = signed_in()
    assert "shipped list" in look(client, "/shelf/materials/new/")
    answer = client.post(
        "/shelf/materials/new/",
        {
            "name": "Meadow butter (invented)",
            "kind": "fat",
            "density_g_ml": "0.92",
            "sv_mg_koh_g": "188.5",
            "sv_low_mg_koh_g": "180",
            "sv_high_mg_koh_g": "195",
            "fatty_acids": "oleic 60 %\nC16:0 25.5 %",
            "water_share": "2 %",
            "reorder_point": "2 L",
            "low_stock_alerts": "on",
            "active": "on",
        },
    )
    assert answer.status_code == 303, read(answer)
    made = Material.objects.get(code="meadow-butter-invented")
    assert made.sv_mg_koh_g == Decimal("188.5") and made.water_share == Decimal("0.02")
    # 2 L of 0.92 g/mL
    assert made.reorder_point == 1840 * KG // 1000
    assert {row.acid: row.share for row in made.fatty_acids.all()} == {
        "C18:1": Decimal("0.6"),
        "C16:0": Decimal("0.255"),
    }


def test_a_form_that_is_saved_as_it_stands_changes_nothing():
    oil = an_oil("olive", sv_mg_koh_g=Decimal("190"), reorder_point=5 * KG, inci_name="Oil")
    client = signed_in()
    before = Material.objects.filter(pk=oil.pk).values().get()
    given = form_of(look(client, "/shelf/materials/olive/edit/"))
    assert client.post("/shelf/materials/olive/edit/", given).status_code == 303
    after = Material.objects.filter(pk=oil.pk).values().get()
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {"revision", "updated_at", "changed_by_id"}


@pytest.mark.parametrize(
    ("field", "typed", "told"),
    [
        ("sv_mg_koh_g", "9000", "saponification"),
        ("fatty_acids", "oleic much", "percent"),
        ("fatty_acids", "snow 5 %", "no fatty acid"),
        ("reorder_point", "3 each", ""),
        ("name", "", "required"),
        ("code", "new", "choose another code"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_typed_is_lost(field, typed, told):
    client = signed_in()
    given = {"name": "Hill oil", "kind": "fat", "note": "typed at length", field: typed}
    answer = client.post("/shelf/materials/new/", given)
    page = read(answer)
    assert answer.status_code == 422 and told.lower() in page.lower()
    assert "typed at length" in page and not Material.objects.exists()


def test_a_change_on_top_of_another_is_refused():
    an_oil("olive")
    client = signed_in()
    given = form_of(look(client, "/shelf/materials/olive/edit/"))
    assert client.post("/shelf/materials/olive/edit/", {**given, "note": "a"}).status_code == 303
    stale = client.post("/shelf/materials/olive/edit/", {**given, "note": "b"})
    assert stale.status_code == 422 and "Somebody else saved it" in read(stale)
    assert Material.objects.get().note == "a"


def test_a_supplier_and_an_offer_with_breaks_are_written_changed_and_ended():
    an_oil("olive", density_g_ml=Decimal("0.91"))
    client = signed_in()
    given = {"name": "Mill Lane (invented)", "code": "mill", "lead_time_days": "5"}
    given |= {"freight": "14.00", "active": "on"}
    assert client.post("/shelf/suppliers/new/", given)["Location"] == "/shelf/suppliers/mill/"
    assert Supplier.objects.get().freight == 140_000
    offer = {"supplier": "mill", "material": "olive", "pack_written": "1 gal", "price": "31.40"}
    offer |= {"minimum_packs": "1", "active": "on", **NO_BREAKS}
    offer |= {"breaks-0-from_packs": "4", "breaks-0-price": "29.00"}
    answer = client.post("/shelf/offers/new/", offer)
    assert answer.status_code == 303, read(answer)
    made = Offer.objects.get()
    assert made.code == "mill-olive-1-gal" and made.price_breaks == [[4, 290_000]]
    # A US gallon is 3.785411784 L (NIST Handbook 44, appendix C, from memory); 0.91 g/mL.
    assert made.pack_amount == round(Decimal("3785.411784") * Decimal("0.91") * 10**9)
    for address in ("/shelf/suppliers/", "/shelf/suppliers/mill/", answer["Location"]):
        look(client, address)
    again = form_of(look(client, f"{answer['Location']}edit/"))
    emptied = {**again, "breaks-0-from_packs": "", "breaks-0-price": ""}
    emptied.pop("active")
    assert client.post(f"{answer['Location']}edit/", emptied).status_code == 303
    made.refresh_from_db()
    assert made.price_breaks == [] and not made.active
    dearer = {**offer, "code": "x", "breaks-0-price": "40.00"}
    refused = client.post("/shelf/offers/new/", dearer)
    assert refused.status_code == 422 and "makes packs cheaper" in read(refused)


def test_who_sees_no_costs_changes_a_supplier_without_touching_its_terms():
    supplier = a_supplier("mill", freight=140_000)
    an_offer(supplier, an_oil("olive"), "35 lb")
    client = signed_in("maker")
    page = look(client, "/shelf/suppliers/mill/")
    assert "14.00" not in page and "Write an offer" not in page
    given = form_of(look(client, "/shelf/suppliers/mill/edit/"))
    assert "freight" not in given
    answer = client.post("/shelf/suppliers/mill/edit/", {**given, "phone": "555 0100"})
    assert answer.status_code == 303
    supplier.refresh_from_db()
    assert (supplier.phone, supplier.freight) == ("555 0100", 140_000)
    assert client.get("/shelf/offers/new/").status_code == 403


def test_a_viewer_looks_only():
    a_supplier("mill")
    an_oil("olive")
    viewer = signed_in("viewer")
    look(viewer, "/shelf/suppliers/mill/")
    for address in (
        "/shelf/materials/new/",
        "/shelf/materials/olive/edit/",
        "/shelf/suppliers/new/",
    ):
        assert viewer.get(address).status_code == 403
