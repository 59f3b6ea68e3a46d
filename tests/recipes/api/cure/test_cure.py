"""The cut plan, the cure and the net weight by HTTP: from a poured batch to a label."""

import math
import re
from datetime import date, timedelta
from decimal import Decimal
from xml.etree import ElementTree

import pytest

from tests.kept import once_a_module
from tests.recipes.api.calls import (
    Caller,
    changed,
    fill_shelf,
    nothing_changes,
    plan_batch,
    write_recipe,
)
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db

CUT_ON = date(2026, 3, 3)
SVG = "{http://www.w3.org/2000/svg}"


def pour_batch():
    """The address of a batch of eight bars, 1 kg of it poured."""
    fill_shelf()
    maker = Caller("maker")
    batch = f"batches/{plan_batch(maker, write_recipe(maker))}/"
    maker.done(batch + "reserve/")
    maker.done(batch + "pour/", {"on": "2026-03-02", "poured": "1 kg"})
    return batch


poured_once = once_a_module(pour_batch)


@pytest.fixture
def poured(poured_once):
    return poured_once.fresh()


@pytest.fixture
def maker():
    return Caller("maker")


@pytest.fixture
def curing(maker, poured):
    maker.done(poured + "cut/", {"on": str(CUT_ON), "bars_good": 8})
    return poured


def day(number):
    return str(CUT_ON + timedelta(days=number))


def weigh(maker, batch, number, left, **body):
    """Four sample bars that have `left` g of water to lose."""
    weights = [f"{grams + left:.3f} g" for grams in (100, 101, 99, 100.5)]
    return maker.done(batch + "weighings/", body or {"on": day(number), "weights": weights})


def dry(maker, batch):
    for number in (0, 4, 8, 15):
        cure = weigh(maker, batch, number, 14 * math.exp(-0.1 * number))
    return cure


def g(quantity):
    assert quantity["unit"] == "g"
    return Decimal(quantity["amount"])


def faults(response, status):
    code = "invalid-request" if status == 400 else "invalid-input"
    document = problem_in(response, status, code) if status != 400 else response.json()
    assert response.status_code == status
    return {(fault["field"], fault["code"]) for fault in document["errors"]}


def test_the_cut_plan_before_and_after_the_cut(maker, poured):
    plan = maker.get(poured + "cut-plan/").json()
    assert (plan["basis"], plan["bars"], g(plan["bar_weight"]), plan["ends"]) == (
        "poured",
        8,
        125,
        0,
    )
    assert plan["bar_size"]["length"] == {"amount": "30", "unit": "mm"}
    assert plan["cut"] is None
    body = {
        "on": str(CUT_ON),
        "bars_good": 7,
        "bars_rejected": 1,
        "good_weight": "1 lb 12 oz",
        "rejected_weight": "115 g",
        "ends_weight": {"amount": "60", "unit": "g"},
        "keep_ends": True,
        "ends_cost_share": "5 %",
    }
    batch = maker.done(poured + "cut/", body)
    assert (batch["state"], batch["bars_good"]) == ("cut", 7)
    cut = maker.get(poured + "cut-plan/").json()["cut"]
    assert cut["ends_lot"] == f"{batch['code']}-ends" and cut["ends_share"] == "0.05"
    assert g(cut["good_weight"]) == Decimal("793.7866475")
    assert "cost" not in cut and "ends_cost" not in cut  # a maker sees no costs
    costs = Caller("owner").get(poured + "cut-plan/").json()["cut"]
    parts = [Decimal(costs[name]["amount"]) for name in ("bars_cost", "ends_cost", "loss")]
    assert sum(parts) == Decimal(costs["cost"]["amount"]) > 0 and parts[1] > 0 == parts[2]


@pytest.mark.parametrize(
    ("body", "status", "told"),
    [
        ({"keep_ends": True}, 422, {("ends_weight", "weight-missing")}),
        ({"ends_weight": "2 kg", "keep_ends": True}, 422, {("ends_weight", "ends-too-heavy")}),
        ({"ends_weight": "20000 kg"}, 422, {("ends_weight", "weight-outside")}),
        ({"bars_good": 9000, "reason": "thin"}, 422, {("bars_good", "bars-too-light")}),
        ({"ends_weight": "3 each"}, 400, {("ends_weight", "wrong-dimension")}),
        ({"ends_cost_share": "100 %"}, 400, {("ends_cost_share", "too-large")}),
    ],
)
def test_bad_cuts_are_refused(maker, poured, body, status, told):
    with nothing_changes():
        response = maker.post(poured + "cut/", {"bars_good": 8, **body})
        found = faults(response, status)
    assert {field for field, _ in found} == {field for field, _ in told}


def test_a_sample_heavier_than_the_pour_is_refused(maker, curing):
    with nothing_changes():
        body = {"on": day(1), "weights": ["3 kg"]}
        found = faults(maker.post(curing + "weighings/", body), 422)
    assert [code for _, code in found] == ["more-than-poured"]


def test_a_cure_from_weighings_to_an_accepted_date(maker, curing):
    cure = maker.get(curing + "cure-curve/").json()
    assert (cure["no_curve"]["code"], cure["predicted"], cure["series"]) == (
        "too-few-days",
        None,
        [],
    )
    assert cure["ready_on"] == cure["default_on"] == "2026-03-30"
    assert cure["weekly_loss_limit"] == "0.01" and "accepts" in cure["rule"]
    cure = dry(maker, curing)
    predicted = cure["predicted"]
    assert cure["may_accept"] and predicted["low"] <= predicted["on"] <= predicted["high"]
    assert abs((date.fromisoformat(predicted["on"]) - CUT_ON).days - 20) <= 1
    first, last = cure["series"][0], cure["series"][-1]
    assert first["on"] == str(CUT_ON) and abs(g(first["weight"]) - Decimal("114.125")) < 1
    assert g(last["low"]) <= g(last["weight"]) <= g(last["high"])
    assert len(cure["weighings"]) == 16 and cure["means"][0]["bars"] == 4
    body = {"ready_on": predicted["on"], "reason": "dry"}
    chosen = maker.done(curing + "cure-date/", body)
    assert (chosen["ready_on"], chosen["may_accept"]) == (predicted["on"], False)
    assert [choice["kind"] for choice in chosen["choices"]] == ["accepted"]
    released = maker.done(curing + "cure/", {"on": predicted["on"]})
    assert released["bar_lot"]["state"] == "released"


def test_an_early_release_needs_a_reason_and_keeps_it(maker, curing):
    with nothing_changes():
        problem_in(maker.post(curing + "cure/", {"on": day(9)}), 409, "batch-conflict")
    maker.done(curing + "cure/", {"on": day(9), "early_reason": "market on Saturday"})
    (choice,) = maker.get(curing + "cure-curve/").json()["choices"]
    assert (choice["kind"], choice["reason"], choice["due_on"]) == (
        "early",
        "market on Saturday",
        "2026-03-30",
    )


def test_bars_by_number_and_in_pounds(maker, curing):
    bars = [{"bar": 7, "weight": "4 oz"}, {"bar": 2, "weight": "1/4 lb"}]
    cure = weigh(maker, curing, 0, 0, on=day(0), bars=bars)
    assert [(one["bar"], one["weight"]["amount"]) for one in cure["weighings"]] == [
        (2, "113.3980925"),
        (7, "113.3980925"),
    ]


@pytest.mark.parametrize(
    ("change", "fields"),
    [
        ({"on": "2026-03-01"}, {"on"}),
        ({"weights": []}, {"weights"}),
        ({"weights": ["0 g", "-1 g"]}, {"weights.1"}),
        ({"weights": ["0 g", "101 kg"]}, {"weights.0", "weights.1"}),
        ({"weights": None}, {"weights"}),
        ({"bars": [{"bar": 1, "weight": "1 g"}]}, {"weights"}),
        ({"weights": None, "bars": [{"bar": 1, "weight": "1 g"}] * 2}, {"bars.1.bar"}),
        ({"weights": ["3 fl oz"]}, {"weights.0"}),
    ],
)
def test_bad_weighings_are_refused(maker, curing, change, fields):
    body = changed({"on": day(0), "weights": ["100 g"]}, **change)
    with nothing_changes():
        response = maker.post(curing + "weighings/", body)
        assert response.status_code in (400, 422), response.content
    assert {fault["field"] for fault in response.json()["errors"]} == fields


def test_only_a_known_date_is_accepted(maker, curing):
    with nothing_changes():
        response = maker.post(curing + "cure-date/", {"ready_on": day(12)})
        assert {fault["field"] for fault in response.json()["errors"]} == {"ready_on"}
        assert response.status_code == 422


def test_the_net_weight_and_why(maker, curing):
    dry(maker, curing)
    found = maker.done(curing + "net-weight/", {"confidence": "97.5 %"})
    assert (found["sale_on"], found["weighed_on"], found["left_by"]) == (
        "2026-03-30",
        day(15),
        "curve",
    )
    assert g(found["label_weight"]) <= g(found["expected"]["mean"]) < g(found["weighed"]["mean"])
    ounces = Decimal(found["label_ounces"])
    assert ounces * Decimal("28.349523125") <= g(found["label_weight"])
    assert found["inspected"] == 8 and len(found["reasons"]) == 3
    assert any("not for legal decisions" in note for note in found["notes"])
    assert g(found["usable_scale_division"]) <= g(found["largest_scale_division"])
    same = {
        "sale_on": "2026-03-30",
        "weights": ["108 g", "0.108 kg", "107.5 g", "108.5 g"],
        "weighed_on": "2026-03-30",
        "step": "0.5 g",
    }
    with nothing_changes():
        told = maker.client.post(f"/api/v1/{curing}net-weight/", same, format="json").json()
    assert told["left"] == "1" and told["left_by"] == "weighed"
    assert (g(told["label_weight"]) * 2) % 1 == 0
    assert told["binds"] == "average"


@pytest.mark.parametrize(
    ("body", "status", "fields"),
    [
        ({}, 422, {"weights"}),
        ({"weights": ["100 g"]}, 422, {"weights"}),
        ({"weights": ["0 g", "1 g"]}, 400, {"weights.0"}),
        (
            {"weights": ["2 kg", "2 kg"], "weighed_on": "2026-03-30"},
            422,
            {"weights.0", "weights.1"},
        ),
        ({"weights": ["9 g", "9 g"], "weighed_on": "2026-03-01"}, 422, {"weighed_on"}),
        ({"weighed_on": "2026-03-30"}, 400, {"weights"}),
        ({"weights": ["9 g", "9 g"], "confidence": "1"}, 400, {"confidence"}),
        ({"weights": ["9 g", "9 g"], "step": "0 g"}, 400, {"step"}),
    ],
)
def test_net_weights_that_nobody_can_tell(maker, curing, body, status, fields):
    response = maker.post(curing + "net-weight/", body)
    assert response.status_code == status, response.content
    assert {fault["field"] for fault in response.json()["errors"]} == fields


def drawing(maker, batch):
    response = maker.get(batch + "cure.svg")
    assert response.status_code == 200
    assert response.headers["Content-Type"] == "image/svg+xml; charset=utf-8"
    return ElementTree.fromstring(response.content)


def test_the_drawing_tells_the_same_in_words_and_by_shape(maker, curing):
    bare = drawing(maker, curing)
    assert "No bars were weighed yet" in "".join(bare.itertext())
    cure = dry(maker, curing)
    root = drawing(maker, curing)
    title, words = root.find(f"{SVG}title").text, root.find(f"{SVG}desc").text
    assert title.startswith("Cure of batch ")
    assert cure["predicted"]["on"] in words and cure["default_on"] in words
    named = [root.find(f"{SVG}title").get("id"), root.find(f"{SVG}desc").get("id")]
    assert root.get("aria-labelledby").split() == named and root.get("role") == "img"
    assert len(root.findall(f"{SVG}circle")) == 4  # one a day
    written = [text.text for text in root.iter(f"{SVG}text")]
    # The dates are told apart by number, without color.
    assert {"1", "2", "3"} <= set(written)
    assert f"3  {cure['default_on']}  by the recipe (holds)" in written
    assert any("band" in (path.get("fill") or "") for path in root.iter(f"{SVG}path"))


def test_before_the_pour_there_is_no_cure(maker):
    batch = f"batches/{plan_batch(maker, write_recipe(maker))}/"
    for path in ("cure-curve/", "cure.svg"):
        problem_in(maker.get(batch + path), 409, "batch-conflict")
    problem_in(maker.get("batches/none/cure.svg"), 404, "not-found")
    assert maker.get(batch + "cut-plan/").json()["basis"] == "planned"


def test_a_viewer_looks_and_asks_but_does_not_weigh(curing):
    viewer = Caller("viewer")
    assert viewer.get(curing + "cure-curve/").status_code == 200
    body = {"weights": ["100 g", "101 g"], "weighed_on": "2026-03-30"}
    assert viewer.post(curing + "net-weight/", body).status_code == 200
    for verb in ("weighings/", "cure-date/"):
        assert viewer.post(curing + verb, {}).status_code == 403


def test_a_version_keeps_its_limit(maker):
    code = write_recipe(maker, weekly_loss_limit="0.5 %")
    version = maker.get(f"formulas/{code}/versions/").json()["results"][0]
    assert version["weekly_loss_limit"] == "0.005"
    assert re.fullmatch(r"[0-9.]+", version["weekly_loss_limit"])
