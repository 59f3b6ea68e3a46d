"""A price under its floor is refused with what restores it; the restoring one is set."""

import re

import pytest
from playwright.sync_api import expect

from tests.costing.priced import a_shelf

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "desktop"


def test_set_a_price(studio_page, axe):
    product, _, _ = a_shelf()
    studio_page.goto("/")
    places = studio_page.get_by_role("navigation", name="Places")
    places.get_by_role("link", name="Prices").click()
    axe("Prices")
    studio_page.get_by_role("link", name=product.name).click()
    axe("Plain olive bar")
    studio_page.get_by_role("link", name="Set a price", exact=True).click()
    axe("Set a price")
    studio_page.get_by_label("Price of a bar").fill("0.10")
    studio_page.get_by_role("button", name="Set the price").click()
    expect(studio_page.locator("#id_price-error")).to_contain_text("under the floor")
    axe("Set a price")
    studio_page.get_by_role("button", name=re.compile(r"Ask .* instead")).click()
    expect(studio_page).to_have_url(re.compile(r"/product/$"))
    expect(studio_page.get_by_role("status")).to_contain_text("Wholesale asks")
