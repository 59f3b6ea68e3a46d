"""Every page, at both sizes, light and dark: nothing wider than the page, no serious finding."""

import pytest
from django.db.models import CharField, Value
from django.db.models.functions import Cast, Concat
from django.test import Client
from django.utils import timezone

from costing.models import Customer, Product, Tier
from inventory.models import Location, Material, Supplier
from recipes.models import Formula, Mold
from tests.furnished import furnish, hand_in
from tests.page_map import pages

pytestmark = pytest.mark.django_db(transaction=True)
#: How far the page reaches beyond what is seen of it, in pixels.
SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
#: Links and buttons too small to hit: WCAG 2.2 asks for 24 x 24 px, save links within a sentence.
SMALL = """() => [...document.querySelectorAll('button, .button, input, select, summary')]
  .filter((it) => it.type !== 'hidden' && it.checkVisibility())
  .map((it) => [it, it.getBoundingClientRect()])
  .filter(([, box]) => box.width && (box.width < 24 || box.height < 24))
  .map(([it]) => it.outerHTML.slice(0, 90))"""


@pytest.fixture
def furnished(owner):
    furnish(today=timezone.localdate())
    client = Client()
    client.force_login(owner)
    hand_in(client)


def test_every_page_can_be_read_and_used(studio_page, axe, furnished):
    wide, small, found = {}, {}, {}
    for page in pages():
        answer = studio_page.goto(page.path)
        assert answer is not None and answer.status == 200, page.path
        if (over := studio_page.evaluate(SIDEWAYS)) > 0:
            wide[page.path] = over
        if tiny := studio_page.evaluate(SMALL):
            small[page.path] = tiny
        try:
            axe()
        except AssertionError as finding:
            found[page.path] = str(finding)
    assert (wide, small, found) == ({}, {}, {})


def test_the_longest_names_fit(studio_page, furnished):
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


def test_every_page_can_be_read_in_the_dark(studio_page, axe, furnished):
    studio_page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    found = {}
    for page in pages():
        studio_page.goto(page.path)
        try:
            axe()
        except AssertionError as finding:
            found[page.path] = str(finding)
    assert not found
