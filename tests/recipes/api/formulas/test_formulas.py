"""Formulas and their versions: written whole, refused whole, frozen once used."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.kept import once_a_module
from tests.recipes.api.calls import (
    VERSION,
    Caller,
    changed,
    fill_shelf,
    nothing_changes,
    plan_batch,
    row_counts,
    write_recipe,
)
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db


shelf_once = once_a_module(fill_shelf)


@pytest.fixture
def maker():
    return Caller("maker")


def faults(response, status, code):
    document = problem_in(response, status, code)
    return {(fault["field"], fault["code"]) for fault in document["errors"]}


def test_a_blend_makes_an_intermediate_and_soap_makes_counted_bars(maker):
    blend = maker.made("formulas/", {"code": "rose-oil", "name": "Rose oil", "kind": "blend"})
    assert (blend["product"], blend["batter"], blend["newest_version"]) == ("rose-oil", None, None)
    soap = maker.made("formulas/", {"code": "calm", "name": "Calm"})
    assert (soap["product"], soap["batter"]) == ("calm-bar", "calm-batter")


@pytest.mark.parametrize(
    ("body", "status", "code", "expected"),
    [
        ({"code": "x" * 34, "name": "X"}, 422, "formula-invalid", {("code", "too-long")}),
        ({"code": "x y", "name": "X"}, 400, "invalid-fields", {("code", "invalid")}),
        ({"code": "x"}, 400, "invalid-fields", {("name", "required")}),
        (
            {"code": "x", "name": "X", "kind": "jelly", "color": "red"},
            400,
            "invalid-fields",
            {("kind", "invalid_choice"), ("color", "unknown-field")},
        ),
        (
            {"code": "x", "name": "X", "product": "nothing"},
            400,
            "invalid-fields",
            {("product", "invalid-input")},
        ),
        (
            {"code": "x", "name": "X", "product": "olive"},
            422,
            "formula-invalid",
            {("product", "formula-invalid")},
        ),
    ],
)
def test_formulas_that_cannot_be(maker, body, status, code, expected):
    with nothing_changes():
        assert faults(maker.post("formulas/", body), status, code) == expected


def test_what_a_formula_makes_is_fixed_but_its_name_is_not(maker):
    etag = maker.post("formulas/", {"code": "calm", "name": "Calm"})["ETag"]
    with nothing_changes():
        refused = maker.patch("formulas/calm/", {"kind": "blend"}, **{"If-Match": etag})
        assert faults(refused, 400, "invalid-fields") == {("kind", "fixed")}
        problem_in(maker.patch("formulas/calm/", {"name": "C"}), 428, "if-match-missing")
    new = maker.patch("formulas/calm/", {"name": "Calmer"}, **{"If-Match": etag}).json()
    assert (new["name"], new["revision"]) == ("Calmer", 2)


LYE = "lye_concentration"
BAD = [
    ({"lines__0__amount": "60 %"}, 422, {("lines", "fats-not-whole")}),
    ({"lines__0__amount": "-0.1"}, 400, {("lines.0.amount", "too-small")}),
    ({"lines__0__amount": "1e9"}, 400, {("lines.0.amount", "not-a-number")}),
    ({"lines__0__amount": "99999999"}, 400, {("lines.0.amount", "too-large")}),
    ({"lines__0__amount": True}, 400, {("lines.0.amount", "not-exact")}),
    ({"lines__3__amount": "100 %"}, 400, {("lines.3.amount", "not-a-share")}),
    ({"lines__0__basis": "share"}, 400, {("lines.0.basis", "invalid_choice")}),
    ({"lines__0__colour": "x"}, 400, {("lines.0.colour", "unknown-field")}),
    (
        {"lines__0__material": "nothing", "water": "nowhere"},
        422,
        {("lines.0.material", "unknown-material"), ("water", "unknown-material")},
    ),
    (
        {"lines__0__material": "naoh"},
        422,
        {("lines.0", "alkali-as-line"), ("lines.0.basis", "not-a-fat")},
    ),
    ({"lines": []}, 422, {("lines", "no-lines"), ("lines", "fats-not-whole")}),
    ({"superfat": "-0.01"}, 400, {("superfat", "too-small")}),
    ({"superfat": None}, 422, {("superfat", "superfat-missing")}),
    ({"superfat": "0.4"}, 422, {("superfat", "outside-range")}),
    ({LYE: "0.6"}, 422, {(LYE, "lye-concentration-outside")}),
    ({LYE: None}, 422, {(LYE, "concentration-missing")}),
    ({"naoh": "koh"}, 422, {("naoh", "unknown-material")}),
    ({"naoh": "water"}, 422, {("naoh", "not-that-alkali")}),
    ({"naoh": None}, 422, {("naoh", "alkali-missing")}),
    ({"koh_share": "0.1"}, 422, {("koh", "alkali-missing")}),
    ({"masterbatch": "weak-lye"}, 422, {("masterbatch", "masterbatch-too-weak")}),
    ({"pour_temperature": "40 g"}, 400, {("pour_temperature", "wrong-dimension")}),
    ({"pour_temperature": "250 degF"}, 422, {("pour_temperature", "temperature-outside")}),
    ({"resolution": "0 g"}, 422, {("resolution", "resolution-outside")}),
    ({"resolution": "1 mL"}, 400, {("resolution", "wrong-dimension")}),
    ({"cure_days": 10**12}, 400, {("cure_days", "max_value")}),
    ({"cure_loss_share": "60 %"}, 422, {("cure_loss_share", "outside-range")}),
    ({"number": 7}, 400, {("number", "read-only")}),
]  # fmt: skip


@pytest.mark.parametrize(("change", "status", "expected"), BAD)
def test_versions_that_cannot_be_are_refused_whole(maker, change, status, expected):
    maker.made("formulas/", {"code": "calm", "name": "Calm"})
    body = changed(VERSION, **change)
    with nothing_changes():
        response = maker.post("formulas/calm/versions/", body)
        code = "invalid-fields" if status == 400 else "formula-invalid"
        assert faults(response, status, code) == expected


def test_a_version_is_rewritten_until_a_batch_uses_it(maker):
    code = write_recipe(maker)
    first = f"formulas/{code}/versions/1/"
    read = {"If-Match": maker.get(first)["ETag"]}
    body = changed(VERSION, superfat="0.08", lines__2=None)
    with nothing_changes():
        problem_in(maker.put(first, body), 428, "if-match-missing")
    new = maker.put(first, body, **read).json()
    assert (new["superfat"], len(new["lines"]), new["number"]) == ("0.08", 3, 1)
    assert maker.get(first).json() == new
    with nothing_changes():
        problem_in(maker.put(first, VERSION, **read), 412, "stale")
    read = {"If-Match": maker.get(first)["ETag"]}
    with nothing_changes():
        assert faults(maker.put(first, changed(VERSION, naoh=None), **read), 422, "formula-invalid")
    plan_batch(maker, code)
    with nothing_changes():
        refused = problem_in(maker.put(first, VERSION, **read), 422, "formula-invalid")
        assert "frozen" in refused["detail"]
    assert maker.made(f"formulas/{code}/versions/", VERSION)["number"] == 2
    listed = maker.get(f"formulas/{code}/versions/").json()["results"]
    assert [version["number"] for version in listed] == [2, 1]
    assert maker.get(f"formulas/{code}/").json()["newest_version"] == 2


@pytest.mark.parametrize(
    "path", ["formulas/no/", "formulas/no/versions/", "formulas/no/versions/1/"]
)
def test_what_is_not_there(maker, path):
    problem_in(maker.get(path), 404, "not-found")


def test_writing_to_what_is_not_there(maker):
    with nothing_changes():
        problem_in(maker.post("formulas/no/versions/", VERSION), 404, "not-found")
        problem_in(
            maker.put("formulas/no/versions/1/", VERSION, **{"If-Match": "*"}), 404, "not-found"
        )


TARGETS = [
    ({}, "no-target"),
    ({"fats": "1 kg", "batter": "1 kg"}, "several-targets"),
    ({"mold": "loaf", "fats": "1 kg"}, "cannot-scale"),
    ({"bars": 10}, "no-target"),
    ({"poured_weight": "100 g"}, "bars-missing"),
    ({"fill_height": "3 cm"}, "no-target"),
    ({"mold": "loaf", "fill_height": "1 m"}, "invalid-input"),
    ({"mold": "loaf", "fill_height": "0 mm"}, "not-positive"),
    ({"fats": "0 g"}, "not-positive"),
    ({"fats": "11 t"}, "ambiguous-unit"),
    ({"fats": "11000 kg"}, "target-outside"),
    ({"fats": "1 L"}, "wrong-dimension"),
    ({"fats": "-1 kg"}, "negative"),
    ({"volume": "1 kg"}, "wrong-dimension"),
    ({"bars": 0, "poured_weight": "100 g"}, "min_value"),
    ({"bars": 10**9, "poured_weight": "100 g"}, "max_value"),
    ({"fats": "1 kg", "color": "red"}, "unknown-field"),
    ({"fats": "1 g"}, "cannot-scale"),
]


@pytest.mark.parametrize(("target", "told"), TARGETS)
def test_targets_that_cannot_be_neither_scale_nor_plan(maker, target, told):
    code = write_recipe(maker)
    with nothing_changes():
        for path, body in (
            (f"formulas/{code}/scale/", {"target": target}),
            ("batches/", {"formula": code, "planned_on": "2026-03-02", "target": target}),
        ):
            response = maker.post(path, body)
            assert response.status_code in (400, 422), response.content
            assert told in {fault["code"] for fault in response.json()["errors"]}


def test_unknown_molds_and_versions_are_named(maker):
    code = write_recipe(maker)
    path = f"formulas/{code}/scale/"
    lost = problem_in(maker.post(path, {"target": {"mold": "bowl"}}), 404, "not-found")
    assert (lost["errors"][0]["field"], "bowl" in lost["detail"]) == ("target.mold", True)
    problem_in(maker.post(path, {"target": {"fats": "1 kg"}, "version": 9}), 404, "not-found")


def test_too_much_fragrance_scales_nothing(maker):
    code = write_recipe(maker, lines__2__amount="0.1")
    with nothing_changes():
        for path, body in (
            (f"formulas/{code}/scale/", {"target": {"fats": "1 kg"}}),
            ("batches/", {"formula": code, "planned_on": "2026-03-02", "target": {"fats": "1 kg"}}),
        ):
            document = problem_in(maker.post(path, body), 422, "fragrance-over-maximum")
            assert "IFRA category 9" in document["detail"]


def test_a_shortage_is_told_with_the_plan(maker):
    code = write_recipe(maker)
    plan = maker.done(f"formulas/{code}/scale/", {"target": {"fats": "20 kg"}})
    short = {line["material"] for line in plan["shelf"] if line["short"]["amount"] != "0"}
    assert not plan["covered"] and short == {"olive", "coconut", "water"}


def test_a_masterbatch_brings_its_own_cautions(maker):
    code = write_recipe(maker, masterbatch="strong-lye")
    plan = maker.done(f"formulas/{code}/scale/", {"target": {"fats": "1 kg"}})
    assert plan["lye"]["naoh"]["amount"] == "0"
    assert float(plan["lye"]["masterbatch"]["amount"]) > 0
    assert "dilution-heat" in {caution["code"] for caution in plan["cautions"]}


def test_a_blend_of_lye_carries_the_cautions_and_an_oil_none(maker):
    for code, parts in (
        ("stock-lye", {"naoh": "0.5", "water": "0.5"}),
        ("rose-oil", {"olive": "0.9", "coconut": "10 %"}),
    ):
        maker.made("formulas/", {"code": code, "name": code, "kind": "blend"})
        lines = [
            {"material": material, "basis": "of-batter", "amount": amount}
            for material, amount in parts.items()
        ]
        maker.made(f"formulas/{code}/versions/", {"lines": lines})
    lye = maker.done("formulas/stock-lye/scale/", {"target": {"batter": "2 kg"}})
    assert {c["code"] for c in lye["cautions"]} >= {"lye-burns", "closed-and-labeled"}
    assert (lye["lye"], lye["batter"]) == (None, {"amount": "2000", "unit": "g"})
    assert maker.done("formulas/rose-oil/scale/", {"target": {"batter": "1 kg"}})["cautions"] == []


@pytest.mark.parametrize("path", ["molds/", "formulas/", "formulas/{}/versions/", "batches/"])
def test_lists_take_few_queries_however_long_they_are(maker, path):
    code = write_recipe(maker)
    most = 7 if "versions" in path else 6
    path = path.format(code)
    batch = plan_batch(maker, code)
    maker.done(f"batches/{batch}/reserve/")

    def queries():
        with CaptureQueriesContext(connection) as captured:
            assert maker.get(path).status_code == 200
        return len(captured)

    maker.get(path)  # the account's role is read once
    one = queries()
    for number in range(3):
        maker.made("formulas/", {"code": f"more-{number}", "name": "More"})
        maker.made("molds/", {"code": f"m-{number}", "name": "M", "shape": "measured",
                              "measured_volume": "1 L"})  # fmt: skip
        maker.made(f"formulas/{code}/versions/", VERSION)
        plan_batch(maker, code)
    assert queries() == one <= most


def test_unread_filters_and_odd_values_are_refused(maker):
    write_recipe(maker)
    assert len(maker.get("formulas/", active="true").json()["results"]) == 1
    assert maker.get("formulas/", active="false").json()["results"] == []
    problem_in(maker.get("formulas/", active="perhaps"), 400, "invalid-fields")
    problem_in(maker.get("molds/", shape="egg"), 400, "invalid-fields")
    problem_in(maker.get("batches/", state="lost"), 400, "invalid-fields")
    problem_in(maker.get("batches/", colour="red"), 400, "unknown-query")


def test_viewers_look_and_compute_and_write_nothing(maker):
    code = write_recipe(maker)
    viewer = Caller("viewer")
    assert viewer.get(f"formulas/{code}/").status_code == 200
    assert viewer.post(f"formulas/{code}/scale/", {"target": {"fats": "1 kg"}}).status_code == 200
    before = row_counts()
    for path, body in (
        ("molds/", {"code": "x"}),
        ("formulas/", {"code": "x", "name": "X"}),
        (f"formulas/{code}/versions/", VERSION),
        ("batches/", {}),
    ):
        assert viewer.post(path, body).status_code == 403
    assert viewer.put(f"formulas/{code}/versions/1/", VERSION).status_code == 403
    assert row_counts() == before
