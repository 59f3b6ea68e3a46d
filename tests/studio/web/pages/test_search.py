"""Search: by a part of a name, straight to a code, and by what a scanner read."""

import pytest
from django.test import Client

from studio.web.pages import search
from studio.web.pages.search import Finder, Found, scanned_address
from tests.inventory.making import KG, make_lot, make_material
from tests.read_pages import read
from tests.recipes.making import make_bench, planned
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


@pytest.fixture
def client():
    client = Client()
    client.force_login(person("viewer"))
    return client


def found(client, text):
    return client.get("/search/", {"q": text})


def test_names_and_codes_of_everything_are_found(client):
    clay = make_material("blue-clay")
    lot = make_lot(clay, KG)
    page = read(found(client, "blue cl"))
    assert "Materials" in page and "Blue clay" in page and lot.code in page
    batch = planned(make_bench())
    assert batch.code in read(found(client, batch.version.formula.name[:4]))


def test_a_code_leads_straight_to_its_page(client):
    batch = planned(make_bench())
    answer = found(client, f" {batch.code.lower()} ")
    assert answer.status_code == 302 and batch.code in answer["Location"]


def test_nothing_found_says_what_codes_look_like(client):
    page = read(found(client, "no such thing <b>"))
    assert "Nothing here has that name" in page and "L-00042" in page and "<b>" not in page


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("http://127.0.0.1:8000/batches/B-00001/sheet/", "/batches/B-00001/sheet/"),
        ("https://elsewhere.example/settings/", "/settings/"),
        ("https://elsewhere.example//elsewhere.example/", ""),
        ("https://elsewhere.example/no/such/page/", ""),
        ("javascript:alert(1)", ""),
        ("L-00042", ""),
        ("http://[", ""),
    ],
)
def test_a_scanned_address_leads_to_our_own_pages_only(text, path):
    assert scanned_address(text) == path


def test_a_finder_is_for_those_it_is_open_to(client):
    secret = Finder(
        "test", "Prices", find=lambda *_: [Found("Secret")], rule=search.Capability.SEE_COSTS
    )
    search.FINDERS.register(secret)
    try:
        assert "Secret" not in read(found(client, "sec"))
        client.force_login(person("owner"))
        assert "Secret" in read(found(client, "sec"))
    finally:
        search.FINDERS.unregister("test")


def test_the_queries_stay_the_same(client, django_assert_max_num_queries):
    for number in range(25):
        make_material(f"clay-{number}")
    with django_assert_max_num_queries(22):
        page = read(found(client, "clay"))
    assert "More have it" in page


def test_odd_letters_do_no_harm(client):
    for text in ("\0", "%", "_", "'", "\U0001f9fc" * 300):
        assert found(client, text).status_code == 200
