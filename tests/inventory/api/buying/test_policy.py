"""Policies and aims over the API."""

from itertools import count

import pytest
from django.utils import timezone

from inventory.models.catalog.materials import Material
from tests.inventory.api.calls import Caller, g, nothing_changes, queries_of, usd
from tests.inventory.api.conftest import fill_shelf
from tests.inventory.making import KG
from tests.inventory.using import used_weekly
from tests.kept import once_a_module
from tests.studio.web.api.test_problems import problem_in

shelf_once = once_a_module(fill_shelf)

_keys = count(1)


@pytest.fixture
def busy(shelf):
    """Olive oil is used at 7 kg a week; it comes in 5 days (stated)."""
    oil = Material.objects.get(code="olive-oil")
    used_weekly(oil, [7 * KG] * 20, on=timezone.localdate())
    return shelf


def test_a_policy_is_shown_with_the_numbers_behind_it(busy):
    answer = busy.get("policies/olive-oil/")
    seen = answer.json()
    assert answer.headers["ETag"] == '"1"' and seen["revision"] == 1
    assert (seen["reorder_point"], seen["suggested_reorder_point"]) == (None, g("5000"))
    assert (seen["demand_mean_per_day"], seen["demand_sd_per_day"]) == (g("1000"), g("0"))
    assert seen["lead_time"] == {
        "mean_days": "5",
        "sd_days": "0",
        "sample": 0,
        "learned_from": "stated",
    }
    assert (seen["z"], seen["safety_stock"]) == ("1.64485", g("0"))
    assert seen["aims"]["order_cost"] == usd("10.00")
    assert seen["purchase"]["offer"] == "hill-olive" and seen["purchase"]["packs"] > 1
    assert float(seen["purchase"]["annual_cost"]["amount"]) > 365 / 3.45 * 24
    assert seen["forecast"]["tested"] == 16 and seen["gaps"] == []
    assert {"safety_stock", "economic_quantity"} <= {each["gives"] for each in seen["formulas"]}
    rows = {row["material"]: row for row in busy.rows("policies/")}
    assert rows["olive-oil"] == seen
    assert rows["egg"]["gaps"] == ["no-use", "no-priced-offer"]
    assert rows["egg"]["suggested_reorder_point"] is rows["egg"]["purchase"] is None


def test_adopting_needs_the_version_that_was_read(busy, maker):
    path = "policies/olive-oil/adopt/"
    with nothing_changes():
        problem_in(busy.post(path), 428, "if-match-missing")
        problem_in(adopt(busy, match='"7"'), 412, "stale")
        problem_in(adopt(Caller("viewer"), match='"1"'), 403, "not-allowed")
        problem_in(adopt(busy, match='"1"', body={"point": 3}), 400, "invalid-fields")
    answer = adopt(maker, match='"1"')
    assert answer.status_code == 200 and answer.headers["ETag"] == '"2"'
    material = busy.seen("materials/olive-oil/")
    assert material["reorder_point"] == answer.json()["reorder_point"] == g("5000")
    assert material["reorder_to"] == answer.json()["suggested_reorder_to"]
    assert material["revision"] == 2


def adopt(caller, *, match, body=None, code="olive-oil"):
    headers = {"If-Match": match, "Idempotency-Key": f"adopt-{next(_keys)}"}
    return caller.client.post(f"/api/v1/policies/{code}/adopt/", body or {}, headers=headers)


def test_what_cannot_be_suggested_is_not_adopted(busy):
    with nothing_changes():
        problem = problem_in(adopt(busy, match="*", code="egg"), 409, "state-conflict")
        problem_in(adopt(busy, match="*", code="tallow"), 404, "not-found")
    assert "nothing of it was used in the last two years" in str(problem)


def test_costs_are_kept_from_those_who_may_not_see_them(busy, maker):
    seen = maker.seen("policies/olive-oil/")
    assert "order_cost" not in seen["aims"] and "annual_cost" not in seen["purchase"]
    assert "order_cost" not in maker.seen("reorder-aims/")
    with nothing_changes():
        answer = maker.patch("policies/olive-oil/aims/", {"order_cost": "5"})
        problem_in(answer, 400, "invalid-fields")


def test_aims_are_changed_for_one_material(busy, maker):
    path = "policies/olive-oil/aims/"
    first = maker.get(path)
    assert first.headers["ETag"] == '"0"' and first.json()["service_level"] is None
    body = {"service_level": "99 %", "time_to_use_days": 30}
    changed = maker.patch(path, body, match='"0"')
    assert changed.status_code == 200 and changed.headers["ETag"] == '"1"'
    assert changed.json()["service_level"] == "0.99"
    problem_in(maker.patch(path, body, match='"0"'), 412, "stale")
    seen = busy.seen("policies/olive-oil/")
    assert (seen["z"], seen["aims"]["time_to_use_days"]) == ("2.32635", 30)
    maker.patch(path, {"service_level": None})
    assert busy.seen("policies/olive-oil/")["z"] == "1.64485"


def test_the_studios_aims_are_changed_by_an_owner(busy, maker):
    body = {"service_level": "0.9", "order_cost": "25", "holding_share": "0.3"}
    with nothing_changes():
        problem_in(maker.patch("reorder-aims/", {"service_level": "0.9"}), 403, "not-allowed")
        problem_in(busy.patch("reorder-aims/", body, match=None), 428, "if-match-missing")
        problem_in(busy.patch("reorder-aims/", body, match='"3"'), 412, "stale")
        answer = busy.patch("reorder-aims/", {"service_level": "0.2", "holding_share": "9"})
        problem_in(answer, 422, "material-refusal")
    assert busy.patch("reorder-aims/", body, match='"0"').headers["ETag"] == '"1"'
    assert busy.seen("reorder-aims/")["order_cost"] == usd("25.00")
    assert busy.seen("policies/olive-oil/")["aims"] == {
        "service_level": "0.9",
        "order_cost": usd("25.00"),
        "holding_share": "0.3",
        "time_to_use_days": 0,
    }


def test_a_list_takes_the_same_queries_for_few_and_many(shelf):
    few = queries_of(shelf, "policies/", page_size=1)
    assert queries_of(shelf, "policies/") == few
