"""A trial does not go live: the first version is current, a later one once somebody makes it so."""

import pytest
from django.utils import timezone

from inventory.models.buying.requirements import Requirement
from recipes.models.bench.batches import Batch
from recipes.models.formulas.formulas import Formula
from tests.recipes.api.calls import LOAF, VERSION, Caller, changed, fill_shelf
from tests.studio.web.api.test_problems import problem_in

TRIAL = changed(VERSION, superfat="0.08", minutes=120)


@pytest.fixture
def maker(database):
    fill_shelf()
    maker = Caller("maker")
    maker.made("molds/", LOAF)
    maker.made("formulas/", {"code": "calm", "name": "Calm"})
    maker.made("formulas/calm/versions/", VERSION)
    return maker


def planned(maker, **body):
    given = {"formula": "calm", "planned_on": str(timezone.localdate()), "target": {"mold": "loaf"}}
    return maker.made("batches/", {**given, **body})["version"]


def test_the_first_version_is_current_at_once_and_a_later_one_is_a_trial(maker):
    seen = maker.get("formulas/calm/").json()
    assert (seen["current_version"], seen["newest_version"]) == (1, 1)
    assert seen["current_since"][:10] and seen["revision"] == 1
    assert maker.made("formulas/calm/versions/", TRIAL)["is_current"] is False
    seen = maker.get("formulas/calm/").json()
    assert (seen["current_version"], seen["newest_version"]) == (1, 2)
    listed = maker.get("formulas/calm/versions/").json()["results"]
    assert [(one["number"], one["is_current"]) for one in listed] == [(2, False), (1, True)]
    assert maker.get("formulas/").json()["results"][0]["current_version"] == 1


def test_plans_follow_the_current_version_and_a_batch_may_name_a_trial(maker):
    maker.made("formulas/calm/versions/", TRIAL)
    target = {"target": {"mold": "loaf"}}
    plain = maker.done("formulas/calm/scale/", target)["lye"]["superfat"]
    assert planned(maker) == 1
    assert planned(maker, version=2) == 2
    assert maker.get("formulas/calm/").json()["current_version"] == 1, "a trial stays one"
    made = maker.done("formulas/calm/versions/2/make-current/")
    assert made["is_current"] is True
    assert maker.done("formulas/calm/scale/", target)["lye"]["superfat"] > plain
    assert planned(maker) == 2
    assert maker.done("formulas/calm/versions/1/make-current/")["is_current"] is True
    assert planned(maker) == 1


def test_who_made_it_current_and_when_stays_in_the_record(maker):
    maker.made("formulas/calm/versions/", TRIAL)
    writer = maker.get("formulas/calm/").json()["current_by"]
    chooser = Caller("owner")
    chooser.done("formulas/calm/versions/2/make-current/")
    seen = maker.get("formulas/calm/").json()
    assert seen["revision"] == 2 and writer != seen["current_by"]
    maker.done("formulas/calm/versions/2/make-current/")
    assert maker.get("formulas/calm/").json() == seen, "it is current already"
    history = Formula.objects.get(code="calm").history.order_by("history_id")
    kept = [(row.current_id and row.current.number, str(row.history_user or "")) for row in history]
    assert kept[-2:] == [(1, writer), (2, seen["current_by"])]


def test_a_version_is_made_current_once_for_a_key(maker):
    maker.made("formulas/calm/versions/", TRIAL)
    address, key = "formulas/calm/versions/2/make-current/", {"Idempotency-Key": "once"}
    first = maker.made(address, status=200, **key)
    maker.done("formulas/calm/versions/1/make-current/")
    assert maker.made(address, status=200, **key) == first
    assert maker.get("formulas/calm/").json()["current_version"] == 1, "sent twice, done once"
    without = maker.client.post(f"/api/v1/{address}", {}, format="json")
    problem_in(without, 400, "idempotency-key-missing")


def test_what_cannot_be_made_current(maker):
    problem_in(maker.post("formulas/calm/versions/7/make-current/"), 404, "not-found")
    refused = maker.post("formulas/calm/versions/1/make-current/", {"on": "2026-03-02"})
    problem_in(refused, 400, "invalid-fields")
    viewer = Caller("viewer")
    problem_in(viewer.post("formulas/calm/versions/1/make-current/"), 403, "not-allowed")


def test_bars_that_contradict_the_mold_are_refused_with_what_it_gives(maker):
    asked = {"target": {"mold": "loaf", "bars": 10}}
    for path, body in (
        ("formulas/calm/scale/", asked),
        ("batches/", {**asked, "formula": "calm", "planned_on": "2026-03-02"}),
    ):
        document = problem_in(maker.post(path, body), 422, "cannot-scale")
        assert "Loaf gives 8 bars, not 10" in document["detail"]
    assert not Batch.objects.exists() and not Requirement.objects.exists()
    assert maker.done("formulas/calm/scale/", {"target": {"mold": "loaf", "bars": 8}})["bars"] == 8
    maker.made("molds/", changed(LOAF, code="block", name="Block", rows=1))
    uncut = maker.done("formulas/calm/scale/", {"target": {"mold": "block", "bars": 9}})
    assert uncut["bars"] == 9, "a mold that is one piece does not say how it is cut"
