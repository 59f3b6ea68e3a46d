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
from costing.models.quotes.quotes import Customer
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Supplier
from inventory.models.stock.lots import Location
from recipes.models.formulas.formulas import Formula
from recipes.models.molds.molds import Mold
from studio.models import Membership
from tests.browser.accessibility import bring_axe, serious_findings
from tests.browser.conftest import SIZES
from tests.furnished import furnish, hand_in
from tests.page_map import pages
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db(transaction=True)
#: The pages are dealt out to so many tests.
PARTS = 4
parts = pytest.mark.parametrize("part", range(PARTS))
#: How far the page reaches beyond what is seen of it, in pixels.
SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
#: Links and buttons too small to hit: WCAG 2.2 asks for 24 x 24 px, save links within a sentence.
SMALL = """() => [...document.querySelectorAll('button, .button, input, select, summary')]
  .filter((it) => it.type !== 'hidden' && it.checkVisibility())
  .map((it) => [it, it.getBoundingClientRect()])
  .filter(([, box]) => box.width && (box.width < 24 || box.height < 24))
  .map(([it]) => it.outerHTML.slice(0, 90))"""
#: Marks rows that are made like two before them, but for their words: they have the same colors.
ALIKE = r"""() => {
  const words = />[^<]+/g;
  const naming = / (id|href|name|value|for|title|action|aria-label\w*|aria-describedby)="[^"]*"/g;
  const seen = {};
  for (const row of document.querySelectorAll('main tbody > tr, main li')) {
    const made = row.outerHTML.replace(words, '>').replace(naming, '');
    seen[made] = (seen[made] ?? 0) + 1;
    if (seen[made] > 2) row.dataset.alike = '';
  }
}"""


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


def pages_of(part):
    return pages()[part::PARTS]


def at_each_size(page):
    """The names of the sizes, the page set to each: it is laid out by that alone."""
    for name, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        yield name


@parts
def test_every_page_can_be_read_and_used_in_light_and_dark(resized_page, part):
    bring_axe(resized_page)
    wide, small, found = {}, {}, {}
    for page in pages_of(part):
        resized_page.emulate_media(color_scheme="light", reduced_motion="reduce")
        answer = resized_page.goto(page.path)
        assert answer is not None and answer.status == 200, page.path
        without = ""
        for size in at_each_size(resized_page):
            if (over := resized_page.evaluate(SIDEWAYS)) > 0:
                wide[page.path, size] = over
            if tiny := resized_page.evaluate(SMALL):
                small[page.path, size] = tiny
            # In the dark a page differs by its colors alone.
            for scheme, rules in (("light", ()), ("dark", ("color-contrast",))):
                resized_page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
                if bad := serious_findings(resized_page, *rules, without=without):
                    found[page.path, size, scheme] = bad
                if not without:
                    resized_page.evaluate(ALIKE)
                    without = "[data-alike]"
    assert (wide, small, found) == ({}, {}, {})


@parts
def test_the_longest_names_fit(resized_page, part):
    for model in (Material, Supplier, Location, Formula, Mold, Customer, Product, Tier):
        longest = model._meta.get_field("name").max_length
        words = "Wholesomely unrefinedcoldpressedanddoublyfilteredinvented " * 4
        model.objects.update(name=Concat(Value(words[: longest - 8]), Cast("pk", CharField())))
    wide = {}
    for page in pages_of(part):
        resized_page.goto(page.path)
        for size in at_each_size(resized_page):
            if (over := resized_page.evaluate(SIDEWAYS)) > 0:
                wide[page.path, size] = over
    assert wide == {}, repr(wide)
