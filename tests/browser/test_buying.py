"""By clicking: from an alert to a plan, its order and its delivery; a file with errors, then a
clean one."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from inventory.models.buying.orders import PurchaseOrder
from inventory.models.catalog.materials import Material
from inventory.services.alerts.alerts import raise_alerts
from inventory.services.buying.requirements import require
from studio.models import ImportRun
from studio.work import jobs
from studio.work.exchange import runs
from studio.work.jobs import Job
from tests.inventory.buying import a_supplier, an_offer, an_oil
from tests.inventory.making import KG, make_lot

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "desktop"
BAD = "code,name,kind\nolive,Olive oil,fat\npalm,,fat\n"
GOOD = "code,name,kind\nolive,Olive oil,fat\nclay,Clay,colorant\n"


@pytest.fixture
def low_coconut():
    """Coconut oil that runs short in nine days, which one supplier offers."""
    today = timezone.localdate()
    hill = a_supplier("hill", name="Hill oils (invented)", lead_time_days=5)
    coconut = an_oil("coconut", name="Coconut oil", reorder_point=5 * KG, reorder_to=20 * KG)
    make_lot(coconut, 4 * KG, 100, received_on=today)
    require({coconut.pk: 9 * KG}, holder="batch:B-1", due_on=today + timedelta(days=10))
    an_offer(hill, coconut, "5 kg", 300_000, code="hill-coconut")
    an_offer(hill, coconut, "1 kg", 70_000, code="hill-small")
    raise_alerts(now=timezone.now())


def test_from_an_alert_to_the_delivery(studio_page, axe, low_coconut):
    studio_page.goto("/buying/")
    expect(studio_page.locator(".answer")).to_contain_text("First to run out: Coconut oil")
    axe("Buying")
    studio_page.get_by_role("button", name="I have seen it").click()
    expect(studio_page.locator(".alerts")).to_contain_text("Seen by")

    studio_page.get_by_role("link", name="Work out the buy plan").click()
    axe("Work out the buy plan")
    studio_page.get_by_label("Days to look ahead").fill("0")
    studio_page.locator("#plan-form").evaluate("form => form.noValidate = true")
    studio_page.get_by_role("button", name="Work out the plan").click()
    expect(studio_page.locator("#plan-form .wrong").first).to_be_visible()
    studio_page.get_by_label("Days to look ahead").fill("30")
    studio_page.get_by_role("button", name="Work out the plan").click()
    expect(studio_page.locator(".answer")).to_contain_text("It waits for a worker")
    expect(studio_page.locator("progress")).to_be_visible()
    axe("The buy plan")
    # The page of the plan is led to by itself, once a worker has found it.
    jobs.do_job(Job.objects.get(parent__isnull=False).pk, now=timezone.now())
    expect(studio_page).to_have_url(re.compile(r"/buying/plans/BP-"))
    expect(studio_page.locator("#main")).to_contain_text("No cheaper plan exists.")
    axe("Buy plan BP-00001")

    studio_page.get_by_role("button", name="Draft the order").click()
    expect(studio_page).to_have_url(re.compile(r"/buying/orders/P-"))
    axe("Order P-00001")
    studio_page.get_by_role("link", name="Place the order").click()
    expect(studio_page.locator(".letter")).to_contain_text("please send us")
    axe("Place order P-00001")
    studio_page.get_by_role("button", name="Place it without a mail").click()
    expect(studio_page.locator(".answer")).to_contain_text("Placed")
    order = PurchaseOrder.objects.get()
    assert order.state == "placed"
    _receive(studio_page, order)

    studio_page.goto("/buying/alerts/")
    studio_page.get_by_role("button", name="Look now").click()
    expect(studio_page.locator("#rows")).to_contain_text("Nothing to look after")
    axe("Alerts")
    studio_page.get_by_label("State").select_option("closed")
    expect(studio_page.locator("#rows")).to_contain_text("Coconut oil")
    studio_page.goto("/buying/orders/?state=closed")
    expect(studio_page.locator("#rows")).to_contain_text(order.code)
    axe("Purchase orders")


def _receive(page, order):
    """The order leads to the page of deliveries, where its lines stand written already."""
    page.get_by_role("link", name="Receive it").click()
    expect(page.get_by_label("Supplier", exact=True)).to_have_value("hill")
    expect(page.locator("#landed")).to_contain_text("Coconut oil")
    page.get_by_role("button", name="Receive", exact=True).click()
    expect(page.get_by_role("status")).to_contain_text("came in")
    order.refresh_from_db()
    assert order.state == "closed"


def test_marks_to_reorder_at(studio_page, axe, low_coconut):
    studio_page.goto("/buying/reorder/")
    axe("When to reorder")
    studio_page.get_by_role("link", name="Coconut oil").click()
    axe("Coconut oil")
    studio_page.get_by_role("link", name="Aim at something else for it").click()
    axe("What is aimed at for Coconut oil")
    studio_page.get_by_label("Chance that an order comes").fill("97.5")
    studio_page.get_by_role("button", name="Keep these aims").click()
    expect(studio_page.locator("#main")).to_contain_text("97.5 %")


def hand_in(page, content):
    page.goto("/settings/")
    page.get_by_role("link", name="Tables in and out").click()
    page.get_by_label("File", exact=True).set_input_files(
        {"name": "shelf.csv", "mimeType": "text/csv", "buffer": content.encode()}
    )
    page.get_by_role("button", name="Check this file").click()
    expect(page.locator("progress")).to_be_visible()
    return ImportRun.objects.latest("id").pk


def test_a_file_with_errors_and_then_a_clean_one(studio_page, axe):
    number = hand_in(studio_page, BAD)
    axe("shelf.csv")
    runs.do_import(number, clock=timezone.now)
    expect(studio_page.locator("#run")).to_contain_text("1 error")
    expect(studio_page.locator("#run")).to_contain_text("name")
    axe("shelf.csv")
    studio_page.get_by_role("link", name="Hand it in again").click()
    expect(studio_page.locator("#main")).to_contain_text("has errors")
    axe("Tables in and out")

    number = hand_in(studio_page, GOOD)
    runs.do_import(number, clock=timezone.now)
    expect(studio_page.locator("#run")).to_contain_text("it would add 2")
    assert not Material.objects.exists()
    studio_page.get_by_role("button", name="Take it in").click()
    expect(studio_page.locator("progress")).to_be_visible()
    runs.do_import(number, clock=timezone.now)
    expect(studio_page.locator("#run")).to_contain_text("2 new")
    assert Material.objects.count() == 2
    axe("shelf.csv")
