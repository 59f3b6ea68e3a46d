"""Comparisons of cost over the API."""

import pytest

from costing.queries.bar_cost.variances import variances_of
from tests.costing.making import cured, cut, make_rates
from tests.recipes.making import make_bench, stock
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    made = make_bench()
    make_rates()
    stock(made)
    return made


@pytest.fixture
def owner():
    return client_as("owner")


def units(money):
    return round(float(money["amount"]) * 10_000)


def test_the_variances_of_a_batch_add_up_as_shown(owner, bench):
    code = cured(bench, good=7, rejected=1)
    shown = owner.get(f"/api/v1/batches/{code}/variances/").json()
    sums = {name: units(money) for name, money in shown["sums"].items()}
    total = sums.pop("total")
    assert sum(sums.values()) == total == units(shown["actual_cost"]) - units(shown["allowed"])
    assert (shown["planned_bars"], shown["good_bars"]) == (8, 7)
    labor = next(each for each in shown["inputs"] if each["code"] == "labor")
    assert (labor["planned"], labor["actual"]) == (
        {"amount": "90", "unit": "min"},
        {"amount": "60", "unit": "min"},
    )
    assert total == variances_of(code).found.total
    problem_in(owner.get(f"/api/v1/batches/{cut(bench)}/variances/"), 409, "batch-not-finished")


def test_the_waterfall_of_a_batch_ends_at_the_bar(owner, bench):
    shown = owner.get(f"/api/v1/batches/{cured(bench)}/cost/").json()
    steps = shown["waterfall"]
    assert steps[-1]["total"] == shown["per_bar"]
    assert sum(units(step["amount"]) for step in steps) == units(shown["per_bar"])
    weight = shown["bar_weight"]
    grams = float(weight["weight"]["amount"])
    assert units(weight["cost_per_gram"]) == pytest.approx(units(shown["per_bar"]) / grams, abs=1)
    assert units(weight["cost_per_ounce"]) == pytest.approx(
        28.349523125 * units(shown["per_bar"]) / grams, abs=1
    )


def test_spreads_and_molds(owner, bench):
    codes = [cured(bench), cured(bench, good=7, rejected=1)]
    shown = owner.get("/api/v1/formulas/plain/cost-spread/", {"last": 5}).json()
    [loaf] = shown["molds"]
    assert [each["batch"] for each in loaf["batches"]] == codes[::-1]
    assert (loaf["mold"], loaf["count"]) == ("loaf", 2)
    assert units(loaf["lowest"]) < units(loaf["mean"]) < units(loaf["highest"])
    query = {"basis": "moving_average", "on": "2026-03-02"}
    shown = owner.get("/api/v1/formulas/plain/mold-costs/", query).json()
    assert [(each["mold"], each["bars"], each["complete"]) for each in shown["molds"]] == [
        ("loaf", 8, True)
    ]
    problem_in(owner.get("/api/v1/formulas/none/mold-costs/"), 404, "not-found")
    problem_in(owner.get("/api/v1/formulas/none/cost-spread/"), 404, "not-found")
    wrong = owner.get("/api/v1/formulas/plain/cost-spread/", {"last": "many"})
    assert wrong.status_code == 400


def test_comparisons_are_for_those_who_see_costs(bench):
    code = cured(bench)
    maker = client_as("maker")
    for address in (
        f"batches/{code}/variances/",
        "formulas/plain/cost-spread/",
        "formulas/plain/mold-costs/",
    ):
        assert maker.get(f"/api/v1/{address}").status_code == 403
