"""The first page: a welcome before sign-in, panels for people with a role."""

import re

import pytest
from django.test import Client

from studio.foundation.roles import role_of
from studio.web.pages.panels import SECTIONS, Cell, Column, Panel, Section, State
from studio.web.pages.places import places_for
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
FACT = "Olive oil <2 kg>"


def low(user):
    assert role_of(user) is not None, "built for somebody who may not see it"
    return Panel(
        title="Runs low",
        answer="One material runs low.",
        columns=(Column("Material"), Column("Left", number=True), Column("State")),
        rows=((Cell(FACT, href="/api/v1/me/"), "1.5 kg", Cell("order now", state=State.SOON)),),
        empty="Nothing runs low.",
    )


def nothing(user):
    return Panel("Batches", "No batch is under way.", (Column("Batch"),), (), "Plan one.")


@pytest.fixture(autouse=True)
def _panels():
    SECTIONS.register(Section("test-nothing", nothing, order=2))
    SECTIONS.register(Section("test-low", low, order=1))
    yield
    SECTIONS.unregister("test-low")
    SECTIONS.unregister("test-nothing")


def page_for(user):
    client = Client()
    if user is not None:
        client.force_login(user)
    response = client.get("/")
    assert response.status_code == 200
    return read(response)


def test_before_sign_in_no_business_facts():
    person("owner")
    page = page_for(None)
    assert "Olive oil" not in page and "Runs low" not in page
    assert 'href="/sign-in/"' in page and 'href="/api/docs/"' in page


def test_without_a_role_no_business_facts():
    page = page_for(person(None))
    assert "Olive oil" not in page and "Ask an owner" in page


@pytest.mark.parametrize("role", ["owner", "maker", "viewer"])
def test_panels_stand_in_their_order_and_escape_what_they_show(role):
    page = page_for(person(role))
    panels = page[page.index("<main") :]
    assert panels.index("Runs low") < panels.index("Batches")
    assert "Olive oil &lt;2 kg&gt;" in page
    assert '<span class="state soon">order now</span>' in page
    assert "Plan one." in page


def test_headers_guard_the_page():
    response = Client().get("/")
    assert response["X-Frame-Options"] == "DENY"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Referrer-Policy"] == "same-origin"
    assert "no-store" in response["Cache-Control"]


def test_no_inline_script_or_style_and_nothing_from_elsewhere():
    for address in ("/", "/sign-in/", "/api/problems/", "/api/problems/stale/"):
        page = read(Client().get(address))
        assert "<style" not in page and "style=" not in page and "javascript:" not in page
        assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", page))
        assert not re.findall(r"<script[^>]*>[^<]", page)
        assert "http://" not in page and "https://" not in page


def test_the_policy_allows_nothing_inline_and_nothing_from_elsewhere():
    policy = Client().get("/")["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "script-src 'self'" in policy
    assert "style-src 'self'" in policy and "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy and "http" not in policy


def test_other_addresses_are_a_plain_page():
    response = Client().get("/nothing-here/")
    assert response.status_code == 404
    assert response["Content-Type"].startswith("text/html")


def test_style_is_served_without_a_collecting_step():
    response = Client().get("/static/studio/studio.css")
    assert response.status_code == 200
    assert response["Content-Type"].startswith("text/css")


@pytest.mark.parametrize("address", ["/quotes/", "/customers/", "/prices/"])
def test_a_place_is_marked_on_the_lists_that_belong_to_it(address):
    shown = places_for(person("owner"), address)
    assert [place.name for place in shown if place.here] == ["prices"]
