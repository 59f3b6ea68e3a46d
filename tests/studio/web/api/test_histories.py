"""What a record was before, as the API and the pages tell it: lots, materials, recipes, prices."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from costing.models.prices.prices import PriceEntry
from costing.services.prices.prices import change_price
from inventory.domain.catalog.allergens import Allergen
from inventory.services.catalog.materials import save_material
from inventory.services.stock.certificates import certify_lot
from inventory.services.stock.locations import LocationDescription, move_lot, save_location
from recipes.domain.formulas.formula import Basis
from recipes.services.formulas.formulas import (
    LineSpec,
    VersionSpec,
    add_version,
    rewrite_version,
)
from studio.foundation.histories import edits, kept_rows
from studio.foundation.local_words import exact_money
from studio.models import Preference
from studio.work.keeping import changed
from tests.costing.priced import a_shelf, floor_of, priced
from tests.inventory.api.calls import Caller
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.recipes.making import make_bench
from tests.studio.web.api.people import person

SHARE = Basis.SHARE_OF_FATS


def changes(edit):
    return {one["label"]: (one["before"], one["after"]) for one in edit["changes"]}


@pytest.fixture
def owner(database):
    return Caller()


def test_a_material_tells_values_with_their_units(owner):
    oil = {"code": "olive", "name": "Olive oil", "kind": "fat", "density_g_ml": "0.915"}
    owner.made("materials/", {**oil, "reorder_point": "2 kg", "fatty_acids": {"C18:1": "0.71"}})
    patch = {
        "density_g_ml": "0.9105",
        "reorder_point": "2.5 kg",
        "purity": None,
        "water_share": "0.002",
        "sv_low_mg_koh_g": "184",
        "low_stock_alerts": False,
        "fatty_acids": {"C18:1": "0.7", "C16:0": "0.12"},
    }
    answer = owner.patch("materials/olive/", patch)
    assert answer.status_code == 200, answer.content
    newest, first = owner.rows("materials/olive/history/")
    who = answer.json()["changed_by"]
    assert (newest["by"], newest["is_first"], first["is_first"]) == (who, False, True)
    assert changes(newest) == {
        "Density, g/mL": ("0.915", "0.9105"),
        "Reorder below": ("2 kg", "2.5 kg"),
        "Water in it": ("", "0.2 %"),
        "Lowest usual saponification value, mg KOH per g": ("", "184"),
        "Tell when it runs low": ("yes", "no"),
        "Fatty acid C18:1": ("71 %", "70 %"),
        "Fatty acid C16:0": ("", "12 %"),
    }
    assert changes(first)["Name"] == ("", "Olive oil")
    assert changes(first)["What it is"] == ("", "Fat")
    assert changes(first)["Fatty acid C18:1"] == ("", "71 %")


def test_what_rounding_would_hide_is_told_exactly(database):
    oil = make_material("olive", reorder_point=2 * KG)
    save_material(changed(oil, {"reorder_point": 2 * KG + 1}), ("reorder_point",))
    edit = edits(list(kept_rows(type(oil), id=oil.pk)), costs=True)[0]
    assert [(one.before, one.after) for one in edit.changes] == [("2000 g", "2000.000000001 g")]


def test_a_lot_tells_its_place_its_certificate_and_its_state(owner):
    lot = make_lot(make_material("pine"), 3 * KG, code="L-9")
    save_location(LocationDescription(code="low", name="Low shelf"))
    move_lot(lot.pk, "low")
    stated = {
        "sv_mg_koh_g": Decimal("189.5"),
        "ifra_category9_max": Decimal("0.041"),
        "allergens": (Allergen("Linalool", Decimal("0.012")),),
    }
    certify_lot(lot.pk, stated)
    owner.post("lots/L-9/block/", {"reason": "smells"})
    blocked, certified, moved, made = owner.rows("lots/L-9/history/")
    assert changes(blocked)["Why"] == ("", "smells")
    assert changes(certified) == {
        "Allergens": ("", "Linalool 1.2 %"),
        "Saponification value, mg KOH/g": ("", "189.5"),
        "Most in a rinse-off product (IFRA 9)": ("", "4.1 %"),
    }
    assert changes(moved) == {"Place": ("", "Low shelf")}
    assert (moved["by"], blocked["by"]) == ("not noted", owner.client.handler._force_user.username)
    assert changes(made)["Material"][1] == lot.material.name


def test_nobody_reads_what_is_not_there_or_without_a_role(owner):
    assert owner.get("lots/none/history/").status_code == 404
    assert owner.get("materials/none/history/").status_code == 404
    assert owner.get("formulas/none/history/").status_code == 404
    assert owner.get("price-entries/1/history/").status_code == 404
    make_material("pine")
    assert Caller(None).get("materials/pine/history/").status_code == 403
    assert Caller("viewer").get("materials/pine/history/").status_code == 200
    assert Caller("viewer").get("price-entries/1/history/").status_code == 403


def noted(material: object, notes: Sequence[str]) -> None:
    for note in notes:
        save_material(changed(material, {"note": note}), ("note",))


def told(owner, code, size):
    """All edits of a material, page by page."""
    found, path = [], f"materials/{code}/history/?page_size={size}"
    while path:
        answer = owner.client.get(f"/api/v1/{path}").json()
        found += answer["results"]
        path = (answer["next"] or "").partition("/api/v1/")[2]
    return found


class PagesTellEachChangeOnce(TestCase):
    """However long a history is and wherever its pages are cut."""

    @settings(max_examples=15)
    @given(
        notes=st.lists(st.sampled_from(["a", "b", "c"]), max_size=8),
        size=st.integers(1, 4),
    )
    def test(self, notes: list[str], size: int) -> None:
        owner = Caller()
        noted(make_material("pine"), notes)
        other = make_material("oak")
        noted(other, ["x"])
        edited = told(owner, "pine", size)[::-1]
        assert edited[0]["is_first"] and len(edited) == len(notes) + 1
        before = ""
        for edit, note in zip(edited[1:], notes, strict=True):
            wanted = {} if note == before else {"Note": (before, note)}
            assert changes(edit) == wanted
            before = note


def test_it_takes_the_same_queries_however_long_it_is(owner):
    pine = make_material("pine")
    noted(pine, ["a"])
    with CaptureQueriesContext(connection) as few:
        owner.rows("materials/pine/history/")
    noted(pine, [str(number) for number in range(30)])
    with CaptureQueriesContext(connection) as many:
        assert len(owner.rows("materials/pine/history/")) == 32
    assert len(few) == len(many) <= 6


def test_the_page_shows_before_and_after_in_the_readers_units(database):
    pine = make_material("pine", reorder_point=2 * KG)
    save_material(changed(pine, {"reorder_point": 453_592_370_000}), ("reorder_point",))
    client, reader = Client(), person("viewer")
    client.force_login(reader)
    page = client.get("/shelf/materials/pine/history/").content.decode()
    assert "<del>2 kg</del>" in page and "<ins>453.6 g</ins>" in page
    Preference.objects.create(user=reader, units=Preference.Units.US)
    page = client.get("/shelf/materials/pine/history/").content.decode()
    assert "<del>4.41 lb</del>" in page and "<ins>1 lb</ins>" in page


def test_a_recipe_tells_its_name_and_what_its_versions_changed(owner):
    bench = make_bench()
    lines = [LineSpec(material=bench.materials["olive"], basis=SHARE, amount=Decimal(1))]
    lye = {"naoh": bench.materials["naoh"], "water": bench.materials["water"]}
    rest = {**lye, "lye_concentration": Decimal("0.33"), "cure_days": 28, "minutes": 90}
    spec = VersionSpec(lines=lines, superfat=Decimal("0.07"), **rest)
    second = add_version(bench.formula, spec)
    rewrite_version(second, replace(spec, superfat=Decimal("0.08")), by=person("maker"))
    answer = owner.patch("formulas/plain/", {"name": "Plain castile"})
    assert answer.status_code == 200, answer.content
    named, anew, written, first, chosen, made = owner.rows("formulas/plain/history/")
    assert changes(chosen) == {"Current version": ("", "1")}
    assert changes(named) == {"Name": ("Plain olive", "Plain castile")}
    assert (anew["reason"], changes(anew)) == (
        "version 2 written anew",
        {"Superfat": ("7 %", "8 %")},
    )
    assert anew["by"].startswith("person-") and written["by"] == "not noted"
    assert written["reason"] == "version 2 written"
    told = changes(written)
    assert told["Olive"] == ("70 % of the fats", "100 % of the fats")
    assert told["Coconut"] == ("30 % of the fats", "")
    assert told["Superfat"] == ("6 %", "7 %")
    assert changes(first)["Coconut"] == ("", "30 % of the fats")
    assert made["is_first"] and changes(made)["Code"] == ("", "plain")
    client = Client()
    client.force_login(person("viewer"))
    page = client.get("/recipes/plain/history/").content.decode()
    assert "<del>7 %</del>" in page and "Version 2 written anew" in page


def test_a_price_tells_what_it_was_to_those_who_may_see_costs(owner):
    product, tier, _ = a_shelf()
    floor = floor_of(product, tier)
    entry = priced(product, tier, floor, floor=floor)
    change_price(entry.pk, on=TODAY, price=floor + 500, floor=floor, ended_on=None)
    newest, first = owner.rows(f"price-entries/{entry.pk}/history/")
    was, now = (exact_money(each) for each in (floor, floor + 500))
    assert changes(newest) == {"Price of a bar": (was, now)}
    assert changes(first)["Price of a bar"] == ("", was)
    rows = list(kept_rows(PriceEntry, id=entry.pk))
    hidden = edits(rows, costs=False)
    assert hidden[0].changes == ()
    assert not {one.field for one in hidden[1].changes} & set(PriceEntry.costs)
    client = Client()
    client.force_login(person("owner"))
    page = client.get(f"/prices/{product.code}/history/").content.decode()
    assert f"<del>{was}</del>" in page and tier.name in page
    client.force_login(person("viewer"))
    assert client.get(f"/prices/{product.code}/history/").status_code == 403
