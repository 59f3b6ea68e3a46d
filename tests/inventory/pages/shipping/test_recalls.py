"""A recall on its pages: what it would hold stands there before, its report after, and its end."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.models.shipping.recalls import Recall
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.pages.shipping import reach
from inventory.queries.shipping.contacts import CONTACTS, Contact, ContactBook
from inventory.services.shipping.recall import lift_recall, recall_lot
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.reservations import Holding, reserve
from tests.inventory.making import TODAY, make_lot, make_material
from tests.inventory.production_graphs import Step, chain, produce
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
MOST_QUERIES = 14
LONG = "x" * 161


def signed_in(role="maker"):
    client = Client()
    client.force_login(person(role))
    return client


@pytest.fixture
def oil():
    """A lot of oil, bars made of it, some of which a shop has and some are reserved."""
    oil = make_lot(make_material("olive"), 1_000)
    bar = make_material("bar", kind="bar", counted=True, name="Plain bar")
    bars = make_lot(bar, 100, made_of={oil.pk: 10})
    lines = [ToShip(lot=bars.code, amount=24)]
    shop = "Corner shop (invented)"
    ship(Shipping(customer_name=shop, reference="PO-7", shipped_on=TODAY, lines=lines))
    reserve(Holding(needs={bar.pk: 30}, holder="order:SO-9", on=TODAY))
    return oil


@pytest.fixture
def book():
    """Customers are kept elsewhere: whoever keeps them tells how they are reached."""
    there = CONTACTS.get("customers")
    known = Contact(customer="corner", person="Pat (invented)", phone="+1 (555) 010-0")
    CONTACTS.register(ContactBook("customers", lambda codes: dict.fromkeys(codes, known)))
    yield known
    CONTACTS.register(there)


def ask(client, path, **values):
    return client.post(path, {"reason": "rancid", "once": "k-1", **values})


def test_what_it_would_hold_is_told_before_and_nothing_is_held_by_looking(oil, book):
    bars = Lot.objects.get(material__code="bar")
    page = read(signed_in().get(f"/shelf/lots/{oil.code}/recall/"))
    for words in (
        "<strong>2 lots</strong>, on the shelf",
        "<strong>1 customer</strong> has 24 pieces of it",
        "Corner shop (invented): 24 pieces",
        "Pat (invented)",
        'href="tel:+15550100"',
        bars.code,
        "order SO-9",
    ):
        assert words in page
    assert not Hold.objects.exists() and not Recall.objects.exists()


def test_it_is_opened_once_and_its_report_has_paper_and_table(oil):
    client = signed_in()
    path = f"/shelf/lots/{oil.code}/recall/"
    first, again = ask(client, path), ask(client, path)
    recall = Recall.objects.get()
    assert first.status_code == again.status_code == 303
    assert first["Location"] == again["Location"] == f"/shelf/recalls/{recall.code}/"
    assert recall.by is not None and recall.reason == "rancid"
    assert set(Lot.objects.values_list("state", flat=True)) == {"blocked"}
    page = read(client.get(first["Location"]))
    assert "<strong>1 customer</strong> has 24 pieces of it" in page
    assert "<strong>2 lots</strong> are to be set aside" in page
    assert "Sent without an order" in page
    for file in ("report.pdf?paper=letter", "report.pdf?paper=a4", "report.csv"):
        assert f"/api/v1/recalls/{recall.code}/{file}" in page
    assert client.get(f"/api/v1/recalls/{recall.code}/report.csv").status_code == 200


@pytest.mark.parametrize("reason", ["", "  ", LONG])
def test_without_a_reason_that_fits_nothing_is_held_and_nothing_typed_is_lost(oil, reason):
    answer = ask(signed_in(), f"/shelf/lots/{oil.code}/recall/", reason=reason)
    page = read(answer)
    assert answer.status_code == 422 and not Recall.objects.exists()
    assert 'id="id_reason-error"' in page and "It would hold" in page
    assert (reason.strip() or "aria-invalid") in page


def test_a_second_recall_of_a_lot_leads_to_the_first(oil):
    recall = recall_lot(oil.code, "rancid")
    client, path = signed_in(), f"/shelf/lots/{oil.code}/recall/"
    page = read(client.get(path))
    assert f"/shelf/recalls/{recall.code}/" in page and "<button" not in page.split("It holds")[1]
    answer = ask(client, path)
    assert answer.status_code == 422 and "is recalled already" in read(answer)
    assert Recall.objects.count() == 1


def test_lifting_says_before_what_is_free_again_and_what_stays(oil):
    bars = Lot.objects.get(material__code="bar")
    hold_lot(bars.pk, reason="soft")
    recall = recall_lot(oil.code, "rancid")
    client, path = signed_in(), f"/shelf/recalls/{recall.code}/lift/"
    before = read(client.get(path))
    assert "<strong>1 lot</strong> becomes free again; 1 stays held" in before
    for reason in ("", LONG):
        refused = ask(client, path, reason=reason)
        assert refused.status_code == 422 and 'id="id_reason-error"' in read(refused)
    done = ask(client, path, reason="tested sound")
    assert done.status_code == 303 and done["Location"] == f"/shelf/recalls/{recall.code}/"
    assert Lot.objects.get(pk=oil.pk).state == "released"
    assert Lot.objects.get(pk=bars.pk).state == "blocked"
    page = read(client.get(done["Location"]))
    assert "1 lot free again. 1 lot held otherwise." in page
    assert "tested sound" in page and "Lift the recall" not in page
    again = ask(client, path, reason="tested sound", once="k-2")
    assert again.status_code == 422 and "is lifted already" in read(again)
    assert "It was lifted on" in read(client.get(path))


def test_the_list_finds_recalls_by_state_and_words(oil):
    other = make_lot(make_material("coconut"), 10)
    lifted = recall_lot(other.code, "smells")
    lift_recall(lifted.code, "aired")
    opened = recall_lot(oil.code, "rancid")
    client = signed_in("viewer")

    def rows(query=""):
        page = read(client.get(f"/shelf/recalls/{query}"))
        return {code for code in (lifted.code, opened.code) if code in page.split('id="rows"')[1]}

    assert "<strong>1 recall</strong> is open" in read(client.get("/shelf/recalls/"))
    assert rows() == {lifted.code, opened.code}
    assert rows("?state=open") == {opened.code} and rows("?state=lifted") == {lifted.code}
    assert rows("?q=coconut") == rows("?q=smells") == {lifted.code}
    assert rows(f"?q={oil.code}") == {opened.code}
    assert "No recall matches" in read(client.get("/shelf/recalls/?q=nothing+like+it"))


def test_an_empty_list_says_how_a_recall_begins():
    page = read(signed_in("viewer").get("/shelf/recalls/"))
    assert "No recall is open" in page and "Nothing was ever recalled" in page


def test_a_viewer_looks_and_does_nothing(oil):
    recall = recall_lot(oil.code, "rancid")
    client = signed_in("viewer")
    page = read(client.get(f"/shelf/recalls/{recall.code}/"))
    assert "to be set aside" in page and "Lift the recall" not in page
    assert "lot-recall" not in read(client.get(f"/shelf/lots/{oil.code}/"))
    for path in (f"/shelf/lots/{oil.code}/recall/", f"/shelf/recalls/{recall.code}/lift/"):
        assert client.get(path).status_code == ask(client, path).status_code == 403
    assert Hold.objects.filter(lifted_at=None).exists()


def test_what_is_not_there_is_not_found():
    client = signed_in()
    for path in ("lots/L-9/recall/", "recalls/R-00099/", "recalls/R-00099/lift/"):
        assert client.get(f"/shelf/{path}").status_code == 404
        assert ask(client, f"/shelf/{path}").status_code in (404, 405)


def test_the_lot_names_its_recall_with_its_page(oil):
    recall = recall_lot(oil.code, "rancid")
    page = read(signed_in().get(f"/shelf/lots/{oil.code}/"))
    assert f'href="/shelf/recalls/{recall.code}/"' in page
    assert f'href="/shelf/recalls/{recall.code}/lift/"' in page
    assert f'href="/shelf/lots/{oil.code}/recall/"' in page


def test_lots_of_which_nothing_is_left_stand_apart_and_long_lists_end(oil, monkeypatch):
    made = produce(chain(6), raw=1)
    start = made.lots[0]
    path = f"/shelf/lots/{start.code}/recall/"
    assert "Also reached" not in read(signed_in().get(path))
    Lot.objects.filter(pk=made.lots[2].pk).update(on_hand=0, cost=0)
    assert "Also reached, of which nothing is left: 1 lot" in read(signed_in().get(path))
    monkeypatch.setattr(reach, "MOST_LOTS", 4)
    assert "3 more are held and not listed here" in read(signed_in().get(path))


def test_the_number_of_queries_does_not_grow(oil):
    client = signed_in()
    for plan in (chain(1), [*chain(12), Step(takes=((0, 1), (4, 1)), makes=2)]):
        lot = produce(plan, raw=1).lots[0]
        recall = recall_lot(lot.code, "rancid")
        for path in (
            f"/shelf/lots/{lot.code}/recall/",
            f"/shelf/recalls/{recall.code}/",
            f"/shelf/recalls/{recall.code}/lift/",
            "/shelf/recalls/",
        ):
            with CaptureQueriesContext(connection) as queries:
                assert client.get(path).status_code == 200
            assert len(queries) <= MOST_QUERIES, path


def test_the_day_it_was_opened_and_lifted_stands_on_the_report(oil):
    keeper, owner = person("maker"), person("owner")
    recall = recall_lot(oil.code, "rancid", by=keeper)
    lift_recall(recall.code, "sound", by=owner)
    page = read(signed_in("viewer").get(f"/shelf/recalls/{recall.code}/"))
    assert page.count(timezone.localdate().isoformat()) >= 2
    assert all(f"by {one.get_username()}" in page for one in (keeper, owner))
