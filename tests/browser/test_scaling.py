"""From sign-in to the weights of a recipe in a mold: two clicks, and then while typing."""

import re

import pytest
from playwright.sync_api import expect

from recipes.models.bench.batches import Batch
from tests.recipes.making import make_bench, stock

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "desktop"


def test_scale_to_a_mold_and_plan_it(studio_page, axe):
    stock(make_bench())
    studio_page.goto("/")
    studio_page.get_by_role("navigation", name="Places").get_by_role("link", name="Recipes").click()
    axe("Recipes")
    studio_page.get_by_role("link", name="Scale Plain olive").click()
    studio_page.get_by_label("Mold", exact=True).select_option("loaf")
    expect(studio_page.locator("#result")).to_contain_text("8 bars")
    axe("Scale Plain olive")

    studio_page.get_by_label("Weight of fats").check()
    studio_page.get_by_label("How much").fill("2 lb 3 oz")
    expect(studio_page.locator("#result")).to_contain_text("993 g")
    expect(studio_page).to_have_url(re.compile(r"amount=2(\+|%20)lb(\+|%20)3(\+|%20)oz"))
    studio_page.get_by_label("How much").fill("2 furlongs")
    expect(studio_page.locator("#result")).to_contain_text("How much")
    axe("Scale Plain olive")

    studio_page.get_by_label("Fill a mold").check()
    expect(studio_page.locator("#result")).to_contain_text("8 bars")
    studio_page.get_by_role("button", name="Plan and reserve").click()
    expect(studio_page).to_have_url(re.compile(r"/batches/B-00001/"))
    assert Batch.objects.get().state == "reserved"
