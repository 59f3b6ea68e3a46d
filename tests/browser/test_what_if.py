"""What if with the script: slider and number agree, the result follows, the address keeps it."""

import re

import pytest
from playwright.sync_api import expect

from tests.costing.priced import a_shelf

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "desktop"


def test_slide_and_read_the_effect(studio_page, axe):
    a_shelf()
    studio_page.goto("/prices/what-if/")
    axe("What if")
    change = studio_page.get_by_role("group", name="Change 1")
    number, slider = change.get_by_label("By, or to"), change.get_by_label("Slide")
    change.get_by_label("What changes").select_option("superfat")
    expect(number).to_have_value("5 %")
    expect(slider).to_have_attribute("max", "20")
    slider.fill("9")
    expect(number).to_have_value("9 %")
    answer = studio_page.locator("#result .answer")
    expect(answer).to_contain_text("Superfat of every recipe: 9 %")
    number.fill("7 %")
    expect(slider).to_have_value("7")
    expect(answer).to_contain_text("Superfat of every recipe: 7 %")
    expect(studio_page).to_have_url(re.compile(r"c0-to=7"))
    axe("What if")
    studio_page.reload()
    expect(answer).to_contain_text("Superfat of every recipe: 7 %")
    expect(slider).to_have_value("7")
