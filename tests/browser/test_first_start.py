"""From an empty database to the first material by clicking; forms keep what was typed."""

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.django_db(transaction=True)
PASSWORD = "goggles-and-gloves-9"


def test_a_new_studio_gets_an_owner_and_materials(visitor_page, axe):
    page = visitor_page
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Who owns this studio?")
    axe("Who owns this studio?")
    page.get_by_label("Name", exact=True).fill("ida")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_label("The password once more").fill("something else")
    page.get_by_role("button", name="Start the studio").click()
    expect(page.get_by_text("The two passwords differ")).to_be_visible()
    expect(page.get_by_label("Name", exact=True)).to_have_value("ida")
    axe("Who owns this studio?")
    page.get_by_label("The password once more").fill(PASSWORD)
    page.get_by_role("button", name="Start the studio").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Start here")
    axe("Start here")
    page.get_by_role("link", name="Choose materials").click()
    axe("Which materials do you use?")
    page.get_by_role("checkbox", name="Coconut oil").check()
    page.get_by_role("button", name="Add what is ticked").click()
    expect(page.get_by_text("1 material added.")).to_be_visible()
    page.goto("/search/?q=coconut")
    expect(page.get_by_role("cell", name="coconut-oil")).to_be_visible()
    axe("“coconut”")


def test_somebody_is_added_and_the_theme_is_chosen(studio_page, axe):
    page = studio_page
    page.goto("/settings/people/add/")
    axe("Add somebody")
    page.get_by_label("Name", exact=True).fill("mo")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_label("The password once more").fill(PASSWORD)
    page.get_by_role("button", name="Add").click()
    expect(page.get_by_role("link", name="mo")).to_be_visible()
    axe("People and roles")
    page.goto("/settings/")
    page.get_by_label("Dark").check()
    page.get_by_role("button", name="Save").click()
    expect(page.locator("html")).to_have_attribute("data-theme", "dark")
    axe("Settings")
    page.goto("/settings/tokens/")
    page.get_by_role("button", name="Make a token").click()
    expect(page.locator(".token")).to_be_visible()
    axe("Tokens for programs")
