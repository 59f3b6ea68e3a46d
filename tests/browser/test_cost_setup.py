"""From a studio with one recipe and its mold to a priced product, by clicking."""

import re

import pytest
from playwright.sync_api import expect

from costing.models.bar_cost.packaging import PackagingSet
from costing.models.prices.prices import PriceEntry, Product, Tier
from costing.models.rates.rates import Rate
from tests.inventory.making import KG, make_lot
from tests.recipes.making import make_bench

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "desktop"


def said(page, *words):
    for each in words:
        expect(page.get_by_role("status").first).to_contain_text(each)


def back_to_set_up(page):
    page.locator(".trail").get_by_role("link", name="Set-up").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("What costs and prices rest on")


def set_a_rate(page, axe, kind, amount):
    page.get_by_role("link", name=f"Set {kind}", exact=True).click()
    expect(page.get_by_label("What is paid for")).to_have_value(re.compile("^(labor|overhead)"))
    axe("Set a rate")
    page.get_by_label("Costs").fill(amount)
    page.get_by_role("button", name="Set the rate").click()
    said(page, f"{kind} costs ${amount}")


def pack_in_boxes(page, axe):
    page.get_by_role("link", name="Packing", exact=True).click()
    expect(page.locator(".empty")).to_contain_text("what packing costs is not known")
    page.get_by_role("link", name="Add a way to pack").click()
    page.get_by_role("textbox", name="Name", exact=True).fill("In a box")
    page.get_by_label("Short code").fill("in-a-box")
    page.get_by_label("Material").first.select_option("box")
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("textbox", name="Name", exact=True)).to_have_value("In a box")
    axe("A new way to pack")
    page.get_by_label("Pieces").first.fill("1")
    page.get_by_role("button", name="Keep it").click()
    said(page, "In a box is there")
    axe("Packing")


def start_with_three_tiers(page, axe):
    page.get_by_role("link", name="Tiers", exact=True).click()
    axe("Tiers")
    page.get_by_role("button", name="Start with direct, wholesale and distributor").click()
    said(page, "Direct, Wholesale, Distributor")
    page.get_by_role("link", name="Distributor", exact=True).click()
    page.get_by_label("Wanted margin").fill("45")
    axe("Distributor")
    page.get_by_role("button", name="Save the tier").click()
    said(page, "Distributor is saved")
    expect(page.get_by_role("row", name="Distributor")).to_contain_text("45")


def test_an_empty_studio_comes_to_a_priced_product(studio_page, axe):
    bench = make_bench()
    for material in bench.materials.values():
        make_lot(material, 24 if material.counted else 20 * KG, 40 * 10_000)
    studio_page.goto("/prices/")
    expect(studio_page.locator("main")).not_to_contain_text("API")
    studio_page.get_by_role("link", name="Set up costs and prices").click()
    axe("What costs and prices rest on")
    studio_page.get_by_role("link", name="Rates", exact=True).click()
    axe("Rates")
    set_a_rate(studio_page, axe, "An hour of labor", "24.00")
    back_to_set_up(studio_page)
    pack_in_boxes(studio_page, axe)
    back_to_set_up(studio_page)
    start_with_three_tiers(studio_page, axe)
    back_to_set_up(studio_page)
    studio_page.get_by_role("link", name="Products", exact=True).click()
    studio_page.get_by_role("link", name="Add a product").click()
    axe("A new product")
    studio_page.get_by_role("textbox", name="Name", exact=True).fill("Plain olive bar")
    studio_page.get_by_label("Bars of").select_option("plain")
    studio_page.get_by_label("Usually made in").select_option("loaf")
    studio_page.get_by_label("Packed as").select_option("in-a-box")
    studio_page.get_by_role("button", name="Save the product").click()
    said(studio_page, "Plain olive bar is saved")
    axe("Plain olive bar")
    studio_page.get_by_role("link", name="Set a price", exact=True).click()
    studio_page.get_by_label("Tier").select_option("direct")
    studio_page.get_by_label("Price of a bar").fill("60.00")
    studio_page.get_by_role("button", name="Set the price").click()
    said(studio_page, "Direct asks $60.00")
    assert Rate.objects.get().kind == "labor_hour"
    assert PackagingSet.objects.get().editions.get().pieces.get().material.code == "box"
    assert Tier.objects.count() == 3
    assert Product.objects.get().packaging_set.code == "in-a-box"
    assert PriceEntry.objects.get().price == 600_000
