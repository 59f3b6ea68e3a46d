"""Scales of the API: written in any unit, and told beside each line that is weighed."""

import pytest

from recipes.models.scales.scales import Scale
from tests.recipes.api.calls import Caller, fill_shelf, write_recipe
from tests.recipes.scales import make_scales
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db
BENCH = {"code": "bench", "name": "Bench scale", "step": "0.1 g", "capacity": "3 kg"}


def test_a_scale_is_written_read_changed_and_put_out_of_use():
    maker = Caller("maker")
    made = maker.made("scales/", BENCH)
    assert made["step"] == {"amount": "0.1", "unit": "g"}
    assert made["capacity"] == {"amount": "3000", "unit": "g"}
    match = f'"{made["revision"]}"'
    gone = maker.patch("scales/bench/", {"active": False}, **{"If-Match": match})
    assert gone.status_code == 200 and gone.json()["active"] is False
    listed = Caller("viewer").get("scales/", active="true").json()
    assert listed["results"] == []


def test_a_viewer_writes_none_and_what_cannot_be_is_told_by_its_field():
    assert Caller("viewer").post("scales/", BENCH).status_code == 403
    refused = Caller("maker").post("scales/", {**BENCH, "capacity": "0.05 g"})
    document = problem_in(refused, 422, "invalid-input")
    assert [(each["field"], each["code"]) for each in document["errors"]] == [
        ("capacity", "holds-too-little")
    ]
    assert not Scale.objects.exists()


def test_a_plan_and_a_sheet_tell_the_scale_of_each_line():
    maker = Caller("maker")
    fill_shelf()
    code = write_recipe(maker)
    asked = {"target": {"fats": "1 kg"}}
    plain = maker.done(f"formulas/{code}/scale/", asked)
    by_recipe = {"scale": "", "step": {"amount": "1", "unit": "g"}, "goes": 1}
    assert plain["lines"][0]["weighed"] == by_recipe
    make_scales()
    lines = maker.done(f"formulas/{code}/scale/", asked)["lines"]
    found = {line["material"]: line["weighed"] for line in lines}
    step = {"amount": "5", "unit": "g"}
    assert found["olive"] == {"scale": "Floor scale", "step": step, "goes": 1}
    assert found["naoh"]["scale"] == "Bench scale"
    batch = maker.made(
        "batches/", {"formula": code, "target": {"mold": "loaf"}, "planned_on": "2026-03-02"}
    )
    sheet = maker.get(f"batches/{batch['code']}/sheet/").json()
    told = {
        line["material"]: line["weighed"] for stage in sheet["stages"] for line in stage["lines"]
    }
    assert told["box"] is None and told["naoh"]["scale"] == "Bench scale"
