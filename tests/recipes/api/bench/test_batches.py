"""The verbs of a batch: roles, keys, states, lots by name, and refusals that change nothing."""

import uuid
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.queries.stock.contents import contents_of
from inventory.services.stock.proof import prove_books
from tests.inventory.making import KG
from tests.kept import once_a_module
from tests.recipes.api.calls import (
    VERSION,
    Caller,
    balances,
    fill_shelf,
    nothing_changes,
    plan_batch,
    write_recipe,
)
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db


shelf_once = once_a_module(fill_shelf)


@pytest.fixture
def shelf(shelf_once):
    return shelf_once.fresh()


@pytest.fixture
def maker(shelf):
    return Caller("maker")


@pytest.fixture
def batch(maker):
    """The address of a planned batch of eight bars."""
    return f"batches/{plan_batch(maker, write_recipe(maker))}/"


def faults(response, status, code):
    document = problem_in(response, status, code)
    return {(fault["field"], fault["code"]) for fault in document["errors"]}


STEPS = ["reserve", "unreserve", "pour", "cut", "cure", "cancel"]
BODIES = {"cut": {"bars_good": 8}}


@pytest.mark.parametrize("step", STEPS)
def test_a_step_needs_a_key_and_a_role(batch, maker, step):
    body = BODIES.get(step, {})
    with nothing_changes():
        assert Caller("viewer").post(batch + step + "/", body).status_code == 403
        without = maker.client.post(f"/api/v1/{batch}{step}/", body, format="json")
        assert without.status_code == 400 and "Idempotency-Key" in without.json()["detail"]


@pytest.mark.parametrize("step", STEPS)
def test_a_step_of_a_batch_that_is_not_there(maker, step):
    with nothing_changes():
        problem_in(maker.post(f"batches/B-9/{step}/", BODIES.get(step, {})), 404, "not-found")


@pytest.mark.parametrize("step", ["unreserve", "pour", "cut", "cure"])
def test_steps_out_of_turn_are_conflicts(batch, maker, step):
    with nothing_changes():
        problem_in(maker.post(batch + step + "/", BODIES.get(step, {})), 409, "batch-conflict")


def test_the_same_key_plans_one_batch_and_reserves_once(maker):
    code = write_recipe(maker)
    body = {"formula": code, "planned_on": "2026-03-02", "target": {"fats": "1 kg"}}
    key = {"Idempotency-Key": str(uuid.uuid4())}
    first, again = maker.post("batches/", body, **key), maker.post("batches/", body, **key)
    assert first.content == again.content and again["Idempotent-Replayed"] == "true"
    assert first["Location"].endswith(f"/api/v1/batches/{first.json()['code']}/")
    assert len(maker.get("batches/").json()["results"]) == 1
    other = {**body, "target": {"fats": "2 kg"}}
    assert maker.post("batches/", other, **key).status_code == 422
    key = {"Idempotency-Key": str(uuid.uuid4())}
    here = f"batches/{first.json()['code']}/reserve/"
    assert maker.post(here, {}, **key).content == maker.post(here, {}, **key).content
    assert prove_books().differences == ()


def test_a_shortage_names_every_material_and_holds_nothing(maker):
    code = plan_batch(maker, write_recipe(maker), fats="20 kg")
    with nothing_changes():
        document = problem_in(maker.post(f"batches/{code}/reserve/"), 409, "not-enough-stock")
    short = {fault["material"]: fault for fault in document["errors"]}
    assert set(short) == {"olive", "coconut", "water"}
    assert short["olive"] == {
        **short["olive"],
        "needed": "14000",
        "available": "5000",
        "short": "9000",
        "unit": "g",
        "field": "materials.olive",
    }
    sheet = maker.get(f"batches/{code}/sheet/").json()
    assert not maker.get(f"batches/{code}/shelf/").json()["covered"]
    assert sheet["stages"][0]["lines"][0]["short"] == {"amount": "14000", "unit": "g"}
    assert sheet["cautions"]


def test_cancelling_frees_everything(batch, maker):
    before = balances()
    maker.done(batch + "reserve/")
    assert balances() != before
    off = maker.done(batch + "cancel/", {"reason": "no market"})
    assert (off["state"], off["note"]) == ("cancelled", "no market")
    assert balances() == before
    assert maker.get(batch + "shelf/").json()["lines"] == []
    with nothing_changes():
        problem_in(maker.post(batch + "cancel/"), 409, "batch-conflict")


@pytest.mark.parametrize(
    ("body", "status", "expected"),
    [
        ({"formula": "nothing"}, 404, ("formula", "not-found")),
        ({"version": 9}, 404, ("formula", "not-found")),
        ({"version": 0}, 400, ("version", "min_value")),
        ({"planned_on": "yesterday"}, 400, ("planned_on", "invalid")),
        ({"planned_on": "1066-10-14"}, 400, ("planned_on", "day-outside")),
        ({"target": "1 kg"}, 400, ("target", "invalid")),
        ({"code": "B-1"}, 400, ("code", "unknown-field")),
        ({"note": "x" * 4001}, 400, ("note", "max_length")),
    ],
)
def test_plans_that_cannot_be(maker, body, status, expected):
    code = write_recipe(maker)
    with nothing_changes():
        right = {"formula": code, "planned_on": "2026-03-02", "target": {"fats": "1 kg"}}
        response = maker.post("batches/", {**right, **body})
        assert response.status_code == status, response.content
        assert expected in {(f["field"], f["code"]) for f in response.json()["errors"]}


def test_a_held_batch_needs_nothing_more_of_the_shelf(batch, maker, shelf):
    planned = maker.get(batch + "shelf/").json()["lines"]
    maker.done(batch + "reserve/")
    held = maker.get(batch + "shelf/").json()
    assert held["covered"]
    for before, now in zip(planned, held["lines"], strict=True):
        assert now["held"] == now["needed"] == before["needed"]
        assert now["picks"] == []
    maker.done(batch + "pour/", {"on": "2026-03-02"})
    assert [line["material"] for line in maker.get(batch + "shelf/").json()["lines"]] == ["box"]


@pytest.mark.parametrize(("path", "most"), [("", 4), ("shelf/", 10), ("sheet/", 16)])
def test_reading_a_batch_takes_the_same_queries_at_any_size(maker, path, most):
    counts = []
    for extra in (0, 6):
        lines = [
            {"material": "scent", "basis": "of-fats", "amount": "0.001", "stage": "trace"}
        ] * extra
        code = write_recipe_with(maker, lines)
        here = f"batches/{plan_batch(maker, code, fats='1 kg', bars=8)}/"
        maker.done(here + "reserve/")
        maker.get(here)
        with CaptureQueriesContext(connection) as captured:
            maker.get(here + path)
        counts.append(len(captured))
    assert counts[0] == counts[1] <= most


def write_recipe_with(maker, lines):
    code = f"with-{len(lines)}"
    maker.made("formulas/", {"code": code, "name": code})
    maker.made(f"formulas/{code}/versions/", {**VERSION, "lines": [*VERSION["lines"], *lines]})
    return code


def test_filters_of_the_list(batch, maker):
    code = maker.get(batch).json()["formula"]
    assert len(maker.get("batches/", formula=code, state="planned").json()["results"]) == 1
    assert maker.get("batches/", state="poured").json()["results"] == []
    assert len(maker.get("batches/", mold="loaf", planned_to="2026-03-02").json()["results"]) == 1
    assert maker.get("batches/", planned_from="2026-03-03").json()["results"] == []


def test_a_blend_is_mixed_into_a_lot_with_its_strength(maker):
    maker.made("formulas/", {"code": "stock-lye", "name": "Stock lye", "kind": "blend"})
    Material.objects.filter(code="stock-lye").update(alkali="NaOH", purity=Decimal("0.49"))
    lines = [
        {"material": material, "basis": "of-batter", "amount": "0.5"}
        for material in ("naoh", "water")
    ]
    maker.made("formulas/stock-lye/versions/", {"lines": lines})
    here = f"batches/{plan_batch(maker, 'stock-lye', batter='1 kg')}/"
    sheet = maker.get(here + "sheet/").json()
    assert sheet["cautions"] and sheet["lye"]["steps"] == []
    assert maker.done(here + "reserve/")["cautions"]
    made = maker.done(here + "pour/", {"on": "2026-03-02"})
    assert (made["batch"]["state"], made["safety"]) == ("cured", None)
    lot = Lot.objects.get(code=made["batch"]["bar_lot"]["code"])
    strength = contents_of([lot.pk])[lot.pk].naoh.usual
    assert (lot.on_hand, lot.purity, strength) == (KG, None, Decimal("0.49"))
    with nothing_changes():
        problem_in(maker.post(here + "cut/", {"bars_good": 8}), 409, "batch-conflict")


def test_no_answer_tells_a_cost(batch, maker):
    owner = Caller("owner")
    held = owner.done(batch + "reserve/")
    answers = [held, *(owner.get(batch + path).json() for path in ("", "shelf/", "sheet/"))]
    assert "cost" not in str(answers)


def test_a_cut_adds_up_to_its_pour_and_an_unusual_one_says_why(maker, batch):
    maker.done(batch + "reserve/")
    maker.done(batch + "pour/", {"poured": "1 kg"})
    heavy = {"bars_good": 8, "good_weight": "900 g", "ends_weight": "150 g", "reason": "so it was"}
    refused = maker.post(batch + "cut/", heavy)
    assert faults(refused, 422, "invalid-input") == {("good_weight", "more-than-poured")}
    thin = {"bars_good": 1000}
    asked = maker.post(batch + "cut/", thin)
    assert faults(asked, 422, "cut-needs-reason") == {("reason", "bar-weight-needs-reason")}
    few = maker.post(batch + "cut/", {"bars_good": 2, "good_weight": "250 g"})
    assert faults(few, 422, "cut-needs-reason") == {("reason", "loss-needs-reason")}
    maker.done(batch + "cut/", {"bars_good": 7, "good_weight": "860 g", "reason": "one stuck"})
    record = maker.get(batch + "cut-plan/").json()["cut"]
    assert (record["reason"], record["lost_weight"]) == (
        "one stuck",
        {"amount": "140", "unit": "g"},
    )
