"""Every page, at both sizes, light and dark: nothing wider than the page, no serious finding."""

import sqlite3
from contextlib import closing

import pytest
from django.db import connection
from django.db.models import CharField, Value
from django.db.models.functions import Cast, Concat
from django.test import Client
from django.utils import timezone

from costing.models.prices.prices import Product, Tier
from costing.models.quotes.customers import Customer
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Supplier
from inventory.models.stock.locations import Location
from recipes.models.formulas.formulas import Formula
from recipes.models.molds.molds import Mold
from studio.models import Membership
from tests.browser.accessibility import serious_findings
from tests.furnished import furnish, hand_in
from tests.page_map import pages
from tests.studio.web.api.people import person

#: Together on one worker, which furnishes once.
pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.xdist_group("furnished")]
#: How far the page reaches beyond what is seen of it, in pixels.
SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
#: Links and buttons too small to hit: WCAG 2.2 asks for 24 x 24 px, save links within a sentence.
SMALL = """() => [...document.querySelectorAll('button, .button, input, select, summary')]
  .filter((it) => it.type !== 'hidden' && it.checkVisibility())
  .map((it) => [it, it.getBoundingClientRect()])
  .filter(([, box]) => box.width && (box.width < 24 || box.height < 24))
  .map(([it]) => it.outerHTML.slice(0, 90))"""


@pytest.fixture(scope="module")
def furnished_file(tmp_path_factory):
    """Where the furnished studio is kept."""
    return tmp_path_factory.mktemp("furnished") / "studio.sqlite3"


@pytest.fixture
def owner(transactional_db, furnished_file):
    """Who owns the furnished studio; it is furnished once, and copied for each test."""
    first = not furnished_file.exists()
    if first:
        furnish(today=timezone.localdate())
        client = Client()
        client.force_login(person("owner"))
        hand_in(client)
    connection.ensure_connection()
    with closing(sqlite3.connect(furnished_file)) as kept:
        source, target = (connection.connection, kept) if first else (kept, connection.connection)
        source.backup(target)
    return Membership.objects.get(role="owner").user


def test_every_page_can_be_read_and_used_in_light_and_dark(studio_page):
    wide, small, found = {}, {}, {}
    for page in pages():
        answer = studio_page.goto(page.path)
        assert answer is not None and answer.status == 200, page.path
        if (over := studio_page.evaluate(SIDEWAYS)) > 0:
            wide[page.path] = over
        if tiny := studio_page.evaluate(SMALL):
            small[page.path] = tiny
        # In the dark a page differs by its colors alone.
        for scheme, rules in (("light", ()), ("dark", ("color-contrast",))):
            studio_page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            if bad := serious_findings(studio_page, *rules):
                found[page.path, scheme] = bad
    assert (wide, small, found) == ({}, {}, {})


def test_the_longest_names_fit(studio_page):
    for model in (Material, Supplier, Location, Formula, Mold, Customer, Product, Tier):
        longest = model._meta.get_field("name").max_length
        words = "Wholesomely unrefinedcoldpressedanddoublyfilteredinvented " * 4
        model.objects.update(name=Concat(Value(words[: longest - 8]), Cast("pk", CharField())))
    wide = {}
    for page in pages():
        studio_page.goto(page.path)
        if (over := studio_page.evaluate(SIDEWAYS)) > 0:
            wide[page.path] = over
    assert wide == {}, repr(wide)
