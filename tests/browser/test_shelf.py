"""The shelf and the batches in a browser: looked at, found, written off."""

import re

import pytest
from playwright.sync_api import expect

from tests.recipes.making import make_bench, planned, stock

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "phone"


def test_look_at_the_shelf_and_write_off_what_spilled(studio_page, axe):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    studio_page.goto("/shelf/")
    axe("Shelf")
    studio_page.get_by_label("Name, code or INCI name").fill("scen")
    expect(studio_page.locator("#rows tbody tr")).to_have_count(1)
    studio_page.locator("#rows").get_by_role("link", name="Scent").click()
    axe("Scent")
    studio_page.get_by_role("link", name=re.compile("^L-0")).first.click()
    axe("Lot L-00005")
    studio_page.get_by_role("link", name="Write off").click()
    studio_page.get_by_label("How much").fill("8 oz")
    expect(studio_page.locator(".read").first).to_contain_text("226.8 g")
    studio_page.get_by_label("Why").fill("spilled")
    axe("Write off: lot L-00005")
    studio_page.get_by_role("button", name="Write off").click()
    expect(studio_page.get_by_role("status")).to_contain_text("written off")

    studio_page.goto("/batches/")
    axe("Batches")
    studio_page.get_by_role("link", name="Plain olive").click()
    axe("Plain olive")
    studio_page.get_by_role("button", name="Reserve for this batch").click()
    expect(studio_page.get_by_role("status")).to_contain_text(f"What {batch.code} needs is held")
