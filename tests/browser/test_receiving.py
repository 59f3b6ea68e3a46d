"""A delivery of three lines taken in by typing, in gallons, pounds and dozens."""

import re
from decimal import Decimal

import pytest
from playwright.sync_api import expect

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.models.catalog.suppliers import Supplier
from inventory.models.stock.lots import Lot
from tests.inventory.making import make_material

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "phone"


def test_receive_three_lines_as_the_invoice_has_them(studio_page, axe):
    make_material("olive", density_g_ml=Decimal("0.92"), density_temperature_c=Decimal(20))
    make_material("shea")
    make_material("box", kind=Kind.PACKAGING.value, counted=True)
    Supplier.objects.create(code="mill", name="Mill Lane (invented)")
    studio_page.goto("/shelf/")
    studio_page.get_by_role("link", name="Receive a delivery").click()
    axe("Receive a delivery")
    studio_page.get_by_label("Supplier", exact=True).select_option("mill")
    lines = [
        ("Olive", "1 gal", "31.40"),
        ("Shea", "7 lb 8 oz", "24.90"),
        ("Box", "2 dozen", "9.60"),
    ]
    for number, (name, written, price) in enumerate(lines):
        if number:
            studio_page.get_by_role("button", name="One more line").click()
        studio_page.locator(f"#id_lines-{number}-item").fill(name)
        studio_page.locator(f"#id_lines-{number}-written").fill(written)
        studio_page.locator(f"#id_lines-{number}-price").fill(price)
    studio_page.locator("#id_charges-0-amount").fill("14")
    expect(studio_page.locator("#landed")).to_contain_text("$79.90")
    axe("Receive a delivery")
    studio_page.get_by_role("button", name="Receive", exact=True).click()
    expect(studio_page).to_have_url(re.compile(r"/shelf/deliveries/D-00001/"))
    expect(studio_page.get_by_role("status")).to_contain_text("3 lots came in")
    axe("Delivery D-00001")
    assert Lot.objects.count() == 3
