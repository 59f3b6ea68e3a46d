"""Counting at the shelf: three lots typed one by one, a reload between, posted at the end."""

from decimal import Decimal

import pytest
from playwright.sync_api import expect

from inventory.models.counting.counts import CountSession
from inventory.models.stock.lots import Location, Lot
from inventory.services.stock.locations import move_lot
from tests.inventory.making import KG, make_lot, make_material

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "phone"


def a_shelf():
    Location.objects.create(code="rack", name="Low rack", kind="shelf")
    olive = make_material("olive", density_g_ml=Decimal("0.915"))
    box = make_material("box", kind="packaging", counted=True)
    lots = [make_lot(olive, 5 * KG, 500_000), make_lot(olive, 3 * KG, 300_000)]
    lots.append(make_lot(box, 40, 80_000))
    for lot in lots:
        move_lot(lot.pk, "rack")
    return lots


def in_sight(page):
    """Nothing makes the page wider than the screen."""
    element = "document.documentElement"
    assert page.evaluate(f"{element}.scrollWidth <= {element}.clientWidth")


def test_three_lots_are_counted_with_a_reload_between(studio_page, axe):
    oil, more, box = a_shelf()
    studio_page.goto("/shelf/")
    studio_page.get_by_role("link", name="Where lots stand").click()
    studio_page.get_by_role("link", name="Count Low rack").click()
    axe("Begin a count")
    studio_page.get_by_role("button", name="Begin").click()
    expect(studio_page.locator("#progress")).to_contain_text("0 of 3")
    in_sight(studio_page)
    axe("Count C-00001, Low rack")

    # Enter keeps it, and the next lot's field waits for typing.
    studio_page.get_by_label(f"Found of {oil.code}").fill("5 L")
    studio_page.keyboard.press("Enter")
    expect(studio_page.locator("#progress")).to_contain_text("1 of 3")
    expect(studio_page.locator(f"#lot-{oil.code}")).to_contain_text("4.575 kg")
    expect(studio_page.get_by_label(f"Found of {more.code}")).to_be_focused()

    # What cannot be read stays, with its reason.
    studio_page.keyboard.type("plenty")
    studio_page.keyboard.press("Enter")
    row = studio_page.locator(f"#lot-{more.code}")
    expect(row.locator(".wrong")).to_be_visible()
    expect(row.get_by_label(f"Found of {more.code}")).to_have_value("plenty")
    axe("Count C-00001, Low rack")

    studio_page.reload()
    expect(studio_page.locator("#progress")).to_contain_text("1 of 3")
    # Going on to the next field keeps it too.
    studio_page.get_by_label(f"Found of {more.code}").fill("3 kg")
    studio_page.get_by_label(f"Found of {box.code}").focus()
    expect(studio_page.locator("#progress")).to_contain_text("2 of 3")
    expect(studio_page.get_by_label(f"Found of {box.code}")).to_be_focused()
    studio_page.get_by_label(f"Found of {box.code}").fill("38 each")
    studio_page.get_by_role("button", name=f"Save what was found of {box.code}").click()
    expect(studio_page.locator("#progress")).to_contain_text("All 3 lots")
    axe("Count C-00001, Low rack")

    studio_page.get_by_role("link", name="Look at the differences").click()
    expect(studio_page.locator(".answer")).to_contain_text("2 lots differ")
    in_sight(studio_page)
    axe("Differences of C-00001")
    studio_page.get_by_role("button", name="Post the count").click()
    expect(studio_page.get_by_role("status")).to_contain_text("is posted")
    axe("Count C-00001, Low rack")
    assert CountSession.objects.get().state == "posted"
    balances = list(Lot.objects.order_by("pk").values_list("on_hand", flat=True))
    assert balances == [4_575 * KG // 1000, 3 * KG, 38]
