"""Portions over HTTP: written with a version, told with plans and batches, drawn as SVG."""

from xml.etree import ElementTree

import pytest

from inventory.domain.catalog.materials import MaterialKind as Kind
from tests.inventory.making import KG, make_lot, make_material
from tests.recipes.api.calls import VERSION, Caller, changed, fill_shelf, plan_batch, write_recipe
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db

PORTIONS = [{"name": "plain", "share": "60 %"}, {"name": "blue", "share": "0.4"}]
LAYERS = [
    {"portion": "plain", "share": "50 %"},
    {"portion": "blue", "share": "1", "place": "left", "note": "along the wall"},
    {"portion": "plain", "share": "0.5"},
]
COLOR = {
    "material": "indigo",
    "basis": "of-portion",
    "amount": "1 %",
    "stage": "portion",
    "portion": "blue",
}


@pytest.fixture
def maker():
    fill_shelf()
    make_lot(make_material("indigo", kind=Kind.COLORANT.value, density_g_ml=1), KG, 900)
    return Caller("maker")


@pytest.fixture
def recipe(maker):
    lines = [*VERSION["lines"], COLOR]
    return write_recipe(maker, lines=lines, portions=PORTIONS, layers=LAYERS)


def grams(answer):
    assert answer["unit"] == "g"
    return round(float(answer["amount"]) * 1000)


def test_a_version_tells_its_portions_and_layers(maker, recipe):
    told = maker.get(f"formulas/{recipe}/versions/1/").json()
    assert told["portions"] == [
        {"name": "plain", "share": "0.6"},
        {"name": "blue", "share": "0.4"},
    ]
    assert told["layers"][1] == {
        "portion": "blue",
        "share": "1",
        "place": "left",
        "note": "along the wall",
    }


def test_a_plan_and_its_batch_tell_the_same_pour(maker, recipe):
    plan = maker.done(f"formulas/{recipe}/scale/", {"target": {"mold": "loaf"}})
    pour = plan["pour"]
    assert [portion["name"] for portion in pour["portions"]] == ["plain", "blue"]
    assert sum(grams(p["total"]) for p in pour["portions"]) == grams(plan["batter"])
    assert sum(grams(layer["mass"]) for layer in pour["layers"]) == grams(plan["batter"])
    code = plan_batch(maker, recipe)
    assert maker.get(f"batches/{code}/portions/").json() == pour


def test_a_batch_is_drawn_in_its_mold(maker, recipe):
    code = plan_batch(maker, recipe)
    answer = maker.get(f"batches/{code}/drawing.svg")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"].startswith("image/svg+xml")
    words = [text.text for text in ElementTree.fromstring(answer.content).iter() if text.text]
    assert "blue, left" in words and f"Batch {code} in Loaf" in words
    total = maker.get(f"batches/{code}/portions/").json()["total"]["amount"]
    assert f"{float(total):.1f} g" in words


def test_a_mold_is_drawn_with_what_it_holds(maker, recipe):
    words = maker.get("molds/loaf/drawing.svg").content
    assert b"1008 mL" in words and b"70 mm wide, 60 mm deep" in words


def test_there_is_nothing_to_draw_without_a_mold(maker, recipe):
    code = plan_batch(maker, recipe, fats="500 g")
    problem_in(maker.get(f"batches/{code}/drawing.svg"), 404, "not-found")
    problem_in(maker.get("molds/none/drawing.svg"), 404, "not-found")
    problem_in(maker.get("batches/none/portions/"), 404, "not-found")


def test_a_measured_mold_without_depth_says_what_is_missing(maker):
    maker.made(
        "molds/",
        {"code": "tin", "name": "Tin", "shape": "measured", "measured_volume": "120 mL"},
    )
    problem_in(maker.get("molds/tin/drawing.svg"), 422, "invalid-input")


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({"portions": PORTIONS[:1]}, {"portions", "layers.1.portion", "lines.4.portion"}),
        ({"layers": LAYERS[:2]}, {"layers"}),
        ({"layers": [{**LAYERS[0], "portion": "red"}]}, {"layers.0.portion", "layers"}),
    ],
)
def test_a_split_that_cannot_be_poured_is_refused(maker, values, expected):
    body = changed(
        VERSION,
        **{"lines": [*VERSION["lines"], COLOR], "portions": PORTIONS, "layers": LAYERS, **values},
    )
    maker.made("formulas/", {"code": "swirl", "name": "Swirl"})
    document = problem_in(maker.post("formulas/swirl/versions/", body), 422, "formula-invalid")
    assert {fault["field"] for fault in document["errors"]} == expected


def test_an_unknown_place_is_not_read(maker):
    body = changed(VERSION, portions=PORTIONS, layers=[{**LAYERS[0], "place": "above"}])
    maker.made("formulas/", {"code": "swirl", "name": "Swirl"})
    document = problem_in(maker.post("formulas/swirl/versions/", body), 400, "invalid-fields")
    assert [fault["field"] for fault in document["errors"]] == ["layers.0.place"]
