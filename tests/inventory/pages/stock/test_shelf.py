"""The shelf by hand: materials, lots, and what is done with one lot."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.stock.ledger import Verb
from inventory.models.stock.ledger import StockEntry
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from inventory.services.stock.proof import prove_books
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.inventory.queries.stock.test_contents import made_of
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


def signed_in(role="owner", **values):
    client = Client()
    client.force_login(person(role, **values))
    return client


def shown(address, role="owner", **query):
    response = signed_in(role).get(address, query)
    assert response.status_code == 200
    return read(response)


@pytest.fixture
def lot():
    olive = make_material("olive", reorder_point=10 * KG)
    return make_lot(olive, 4 * KG, 40_000_000)


def address(name, lot):
    return reverse(name, args=[lot.code])


def test_the_answer_names_what_runs_low(lot):
    make_lot(make_material("coconut"), 9 * KG)
    page = shown("/shelf/")
    assert "1 material runs low" in page and page.count("<svg") >= 2
    only = shown("/shelf/", low="on")
    assert lot.material.name in only and "Coconut" not in only


def test_a_filter_finds_by_piece_of_a_name_and_says_when_nothing_is_like_that(lot):
    assert lot.material.name in shown("/shelf/", q="OLI")
    assert "No material is like that" in shown("/shelf/", q="zzz")


def test_an_empty_shelf_says_how_to_begin():
    assert "Choose first materials" in shown("/shelf/")


def test_a_material_shows_its_lots_and_keeps_costs_from_those_who_may_not_see_them(lot):
    page = reverse("material-page", args=["olive"])
    assert lot.code in shown(page) and "4 kg" in shown(page)
    assert "What it cost" not in shown(page, role="maker")


def test_a_lot_shows_its_history_and_an_unknown_one_is_not_there(lot):
    page = shown(address("lot-page", lot))
    assert "received" in page and "What happened to it" in page
    assert signed_in().get("/shelf/lots/L-99999/").status_code == 404


def test_writing_off_takes_stock_once_and_the_books_still_prove(lot):
    client = signed_in("maker")
    asked = {"amount": "1 lb", "reason": "spilled", "once": "k-1"}
    first = client.post(address("lot-spoil-page", lot), asked)
    again = client.post(address("lot-spoil-page", lot), asked)
    assert first.status_code == again.status_code == 303
    lot.refresh_from_db()
    assert lot.on_hand == 4 * KG - 453_592_370_000
    assert StockEntry.objects.filter(lot=lot, verb="spoil").count() == 1
    assert prove_books().holds


def test_more_than_there_is_cannot_be_written_off_and_nothing_typed_is_lost(lot):
    client = signed_in("maker")
    refused = client.post(
        address("lot-spoil-page", lot), {"amount": "40 kg", "reason": "spilled", "once": "k-2"}
    )
    page = read(refused)
    assert refused.status_code == 422 and "40 kg" in page and "spilled" in page
    lot.refresh_from_db()
    assert lot.on_hand == 4 * KG


def test_a_count_brings_the_books_to_what_was_found(lot):
    client = signed_in("maker")
    given = {"found": "3.5 kg", "counted_on": TODAY.isoformat(), "reason": "", "once": "k-3"}
    assert client.post(address("lot-count-page", lot), given).status_code == 303
    lot.refresh_from_db()
    assert lot.on_hand == 7 * KG // 2 and prove_books().holds


@pytest.mark.parametrize(
    ("name", "state"),
    [
        ("lot-quarantine-page", "quarantine"),
        ("lot-block-page", "blocked"),
        ("lot-release-page", "released"),
    ],
)
def test_a_lot_is_held_back_blocked_and_released(lot, name, state):
    client = signed_in("maker")
    if name == "lot-release-page":
        client.post(address("lot-quarantine-page", lot), {"reason": "smell", "once": "k-4"})
    done = client.post(address(name, lot), {"reason": "smell", "once": "k-5"})
    assert done.status_code == 303
    lot.refresh_from_db()
    assert lot.state == state


def test_a_certificate_is_read_and_kept(lot):
    client = signed_in("maker")
    page = read(client.get(address("lot-certificate-page", lot)))
    assert "Saponification value" in page
    given = {"sv_mg_koh_g": "189.5", "once": "k-6"}
    assert client.post(address("lot-certificate-page", lot), given).status_code == 303
    lot.refresh_from_db()
    assert str(lot.sv_mg_koh_g.normalize()) == "189.5"


def test_a_viewer_looks_and_does_nothing(lot):
    client = signed_in("viewer")
    assert client.get(address("lot-page", lot)).status_code == 200
    assert client.post(address("lot-spoil-page", lot), {"amount": "1 kg"}).status_code == 403
    assert "Write off" not in read(client.get(address("lot-page", lot)))


def counted(client, place):
    with CaptureQueriesContext(connection) as seen:
        assert client.get(place).status_code == 200
    return len(seen)


def test_lists_ask_as_much_however_long_they_are():
    client = signed_in()
    first = make_material("first", reorder_point=KG)
    make_lot(first, KG // 2)
    few = [counted(client, place) for place in ("/shelf/", "/shelf/lots/")]
    for number in range(60):
        made = make_material(f"more-{number}", kind=Kind.COLORANT.value)
        make_lot(made, KG, best_before=TODAY + timedelta(days=400))
    assert [counted(client, place) for place in ("/shelf/", "/shelf/lots/")] == few
    assert max(few) <= 18


def test_the_page_of_a_lot_tells_what_is_in_it():
    naoh = make_material("naoh", kind=Kind.ALKALI.value, alkali="NaOH", purity=Decimal("0.98"))
    water = make_material("water", kind=Kind.LIQUID.value, water_share=Decimal(1))
    stored = make_material(
        "stored", kind=Kind.INTERMEDIATE.value, alkali="NaOH", purity=Decimal("0.5")
    )
    parts = [(make_lot(naoh, KG), KG // 2), (make_lot(water, KG), KG // 2)]
    lot = made_of(stored, parts, amount=KG * 96 // 100, steam_ng=KG * 4 // 100)
    page = shown(reverse("lot-page", args=[lot.code]), role="viewer")
    for words in ("What is in it", "Pure NaOH", "51.04 %", "Steamed off", "40 g"):
        assert words in page
    bought = shown(reverse("lot-page", args=[parts[0][0].code]), role="viewer")
    assert "What is in it" not in bought


def test_a_day_before_receipt_leads_to_where_that_day_is_corrected(lot):
    client, early = signed_in("maker"), TODAY - timedelta(days=3)
    asked = {"amount": "1 kg", "reason": "spilled", "spoiled_on": str(early), "once": "k-1"}
    refused = client.post(address("lot-spoil-page", lot), asked)
    mending = address("lot-received-on-page", lot)
    assert refused.status_code == 422 and f'href="{mending}"' in read(refused)
    told = {"received_on": str(early), "reason": "it stood there", "once": "k-2"}
    assert client.post(mending, told).status_code == 303
    again = client.post(address("lot-spoil-page", lot), {**asked, "once": "k-3"})
    assert again.status_code == 303
    assert StockEntry.objects.get(lot=lot, verb="spoil").on == early
    page = shown(address("lot-page", lot))
    assert "entered" in page and "Correct the day it came in" in page


def test_the_day_of_what_was_made_here_is_not_corrected(lot):
    origin = Origin(reference="batch:B-00001")
    part = NewLot(
        material=make_material("made"), amount=KG, cost=0, received_on=TODAY, made_of={lot.pk: KG}
    )
    (made,) = open_lots([part], verb=Verb.PRODUCE, origin=origin)
    assert "Correct the day it came in" not in shown(address("lot-page", made))
    told = {"received_on": str(TODAY - timedelta(days=1)), "reason": "early", "once": "k-1"}
    refused = signed_in("maker").post(address("lot-received-on-page", made), told)
    assert refused.status_code == 422 and "was made here" in read(refused)
    early = {"amount": "1 g", "reason": "spilled", "spoiled_on": told["received_on"], "once": "k-2"}
    page = signed_in("maker").post(address("lot-spoil-page", made), early)
    assert page.status_code == 422
    assert address("lot-received-on-page", made) not in read(page)
