"""The frame in a browser: places, search, keyboard, dark, and what it may load."""

import re

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.django_db(transaction=True)


def test_welcome_and_sign_in(visitor_page, owner, axe):
    visitor_page.goto("/")
    axe("From the delivery to the price of a bar")
    visitor_page.get_by_role("main").get_by_role("link", name="Sign in").click()
    axe("Sign in")
    visitor_page.get_by_label("Username").fill(owner.username)
    visitor_page.get_by_label("Password").fill("soda ash 12")
    visitor_page.get_by_role("main").get_by_role("button", name="Sign in").click()
    expect(visitor_page.get_by_role("heading", level=1)).to_have_text("Today")


def test_places_and_search_from_anywhere(studio_page, axe):
    studio_page.goto("/")
    axe("Today")
    expect(studio_page.get_by_role("navigation", name="Places")).to_be_visible()
    studio_page.keyboard.press("/")
    expect(studio_page.get_by_role("searchbox")).to_be_focused()
    studio_page.keyboard.type("nothing of that name")
    studio_page.keyboard.press("Enter")
    expect(studio_page.get_by_role("heading", level=1)).to_contain_text("nothing of that name")
    axe("“nothing of that name”")


def test_the_first_tab_skips_to_the_content(studio_page):
    studio_page.goto("/")
    studio_page.keyboard.press("Tab")
    link = studio_page.get_by_role("link", name="Skip to the content")
    expect(link).to_be_focused()
    studio_page.keyboard.press("Enter")
    expect(studio_page).to_have_url(re.compile(r"#main$"))


def test_nothing_is_wider_than_the_page(studio_page):
    for address in ("/", "/search/?q=oil", "/settings/"):
        studio_page.goto(address)
        width = studio_page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert width <= 0, address


def test_dark_by_the_device_reads_as_well(studio_page, axe):
    studio_page.emulate_media(color_scheme="dark")
    studio_page.goto("/settings/")
    axe("Settings")


def test_the_api_page_and_the_admin_keep_the_policy(resized_page, owner):
    owner.is_staff = owner.is_superuser = True
    owner.save()
    resized_page.goto("/api/docs/")
    expect(resized_page.locator("#swagger-ui .opblock-tag").first).to_be_visible(timeout=60_000)
    for address in ("/admin/", "/admin/studio/membership/", "/admin/inventory/lot/"):
        resized_page.goto(address)
        expect(resized_page.locator("#content")).to_be_visible()
