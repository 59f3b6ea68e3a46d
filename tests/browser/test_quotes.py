"""From a quote to bars on their way: written, sent, printed, accepted, picked, a part shipped."""

import re

import pytest
from playwright.sync_api import expect

from costing.models.orders.sales import SalesOrder
from tests.costing.services.quotes.test_quotes import a_shop
from tests.inventory.making import make_lot

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "desktop"


def opened(page, link):
    """The paper behind a link: a PDF, from our own address."""
    address = page.get_by_role("link", name=link).get_attribute("href")
    answer = page.request.get(address)
    assert answer.ok and answer.headers["content-type"] == "application/pdf"
    assert answer.body().startswith(b"%PDF")


def write_and_send(page, axe):
    page.goto("/customers/")
    axe("Customers")
    page.get_by_role("link", name="The Corner Shop").click()
    axe("The Corner Shop (invented)")
    page.get_by_role("link", name="Write a quote").click()
    page.get_by_role("button", name="Another line").click()
    page.get_by_label("Product").first.fill("Plain olive bar")
    page.get_by_label("Bars", exact=True).first.fill("30")
    axe("A new quote")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".answer")).to_contain_text("for 30 bars")
    axe("Quote for The Corner Shop (invented)")
    page.get_by_role("link", name="Send quote").click()
    expect(page.locator(".letter-text")).to_contain_text("30 x Plain olive bar")
    axe("Send to The Corner Shop (invented)")
    opened(page, "Look at it as PDF, A4")
    page.get_by_label("Mail the letter").uncheck()
    page.get_by_role("button", name="Send quote").click()
    expect(page.get_by_role("status")).to_contain_text("is sent")
    opened(page, "US Letter")


def test_quote_to_shipment(studio_page, axe):
    product = a_shop()
    make_lot(product.formula.product, 40)
    write_and_send(studio_page, axe)
    studio_page.get_by_role("link", name="Accept").click()
    axe("The Corner Shop (invented) said yes")
    studio_page.get_by_role("button", name="Accept the quote").click()
    expect(studio_page.locator(".answer")).to_contain_text("All 30 bars are held")
    axe("Order of The Corner Shop (invented)")
    studio_page.get_by_role("link", name="Pick list").click()
    expect(studio_page.locator(".answer")).to_contain_text("30 bars into 2 cartons")
    axe("Pick for The Corner Shop (invented)")
    opened(studio_page, "On paper as PDF, A4")
    studio_page.get_by_role("link", name="Ship…").click()
    studio_page.get_by_label("Bars of Plain olive bar").fill("24")
    studio_page.get_by_label("Take no packaging").check()
    axe("Ship to The Corner Shop (invented)")
    studio_page.get_by_role("button", name="Ship").click()
    expect(studio_page.locator(".answer")).to_contain_text("6 bars are held")
    studio_page.get_by_role("link", name="Take back bars…").click()
    axe("Bars that came back")
    studio_page.goto("/orders/")
    axe("Orders")
    studio_page.goto("/quotes/")
    expect(studio_page.get_by_text(re.compile("accepted")).last).to_be_visible()
    axe("Quotes")
    assert SalesOrder.objects.get().lines.get().shipped == 24
