"""A recipe of three fats written by typing, its next version, what changed, and its weights."""

import re
from decimal import Decimal

import pytest
from playwright.sync_api import expect

from recipes.models.formulas.formulas import Formula, FormulaVersion
from tests.inventory.making import make_material
from tests.recipes.making import make_bench

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "desktop"


def write_line(page, index, material, amount):
    page.locator(f"#id_lines-{index}-material").fill(material)
    page.locator(f"#id_lines-{index}-amount").fill(amount)


def test_write_change_compare_and_scale(studio_page, axe):
    make_bench()
    make_material(
        "castor",
        sv_mg_koh_g=Decimal(180),
        density_g_ml=Decimal("0.96"),
        density_temperature_c=Decimal(20),
    )
    studio_page.goto("/recipes/")
    studio_page.get_by_role("link", name="Write a recipe").click()
    studio_page.get_by_label("Name", exact=True).fill("Harbor bar")
    totals = studio_page.locator("#totals")
    write_line(studio_page, 0, "olive", "60")
    write_line(studio_page, 1, "coconut", "30 %")
    expect(totals).to_contain_text("10 % missing")
    write_line(studio_page, 2, "cast", "10")
    expect(studio_page.locator("#lines-2-live")).to_contain_text("No material has this name")
    axe("A new recipe")
    write_line(studio_page, 2, "castor", "10")
    # 0.6 x 190 + 0.3 x 256 + 0.1 x 180 mg KOH/g
    expect(totals).to_contain_text("208.8")
    expect(studio_page.locator("#lines-2-live")).to_be_empty()
    studio_page.get_by_role("button", name="Another line").click()
    write_line(studio_page, 3, "scent", "2")
    studio_page.locator("#id_lines-3-basis").select_option("of-fats")
    studio_page.locator("#id_lines-3-stage").select_option("trace")
    studio_page.get_by_label("Superfat", exact=True).fill("")
    expect(studio_page.locator("#superfat-live")).to_contain_text("how much superfat")
    studio_page.get_by_label("Superfat", exact=True).fill("5")
    expect(studio_page.locator("#superfat-live")).to_be_empty()
    assert not Formula.objects.filter(code="harbor-bar").exists()
    studio_page.get_by_role("button", name="Save the recipe").click()
    expect(studio_page.locator("h1")).to_have_text("Harbor bar")
    expect(studio_page.locator(".answer")).to_contain_text("5 % superfat")
    assert FormulaVersion.objects.get(formula__code="harbor-bar").lines.count() == 4
    axe("Harbor bar")

    studio_page.get_by_role("link", name="Write the next version").click()
    studio_page.locator("#id_lines-0-amount").fill("65 %")
    expect(totals).to_contain_text("5 % too much")
    studio_page.locator("#id_lines-1-amount").fill("25 %")
    expect(totals).to_contain_text("100 %")
    studio_page.get_by_role("button", name="Save this version").click()
    studio_page.get_by_role("link", name="What changed from version 1 to 2").click()
    expect(studio_page.locator("ins").first).to_have_text("65 % of the fats")
    axe("What changed")
    studio_page.get_by_role("link", name="Scale version 2").click()
    studio_page.get_by_label("Mold", exact=True).select_option("loaf")
    expect(studio_page.locator("#result")).to_contain_text("8 bars")
    axe("Scale Harbor bar")


def test_a_mold_by_its_measures(studio_page, axe):
    studio_page.goto("/recipes/molds/")
    studio_page.get_by_role("link", name="Add a mold").click()
    studio_page.get_by_label("Name", exact=True).fill("Tube")
    studio_page.get_by_label("Shape", exact=True).select_option("cylinder")
    expect(studio_page.get_by_label("Width inside")).to_be_hidden()
    studio_page.get_by_label("Diameter inside").fill("3 in")
    studio_page.get_by_label("Depth inside").fill("30 cm")
    expect(studio_page.locator("#holds")).to_contain_text(re.compile(r"1\.368 L"))
    axe("A new mold")
    studio_page.get_by_role("button", name="Save the mold").click()
    expect(studio_page.locator("h1")).to_have_text("Tube")
    axe("Tube")
