"""Costs, what if, prices and promises follow the current version of a recipe, not a trial of it."""

from dataclasses import replace
from decimal import Decimal

import pytest

from recipes.domain.formulas.formula import Basis
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_version, make_current
from tests.costing.making import make_rates
from tests.costing.selling import a_product
from tests.recipes.making import make_bench, stock
from tests.studio.web.api.people import client_as

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    made = make_bench()
    make_rates()
    stock(made)
    a_product(made)
    return made


def told():
    """What the recipe's cost, its molds' costs, the product and what-if say."""
    owner = client_as("owner")
    paths = ("formulas/plain/mold-costs/", "products/plain-bar/")
    answers = [owner.get(f"/api/v1/{path}").json() for path in paths]
    cost = owner.post("/api/v1/formulas/plain/cost/", {"target": {"mold": "loaf"}}, format="json")
    assert cost.status_code == 200, cost.content
    return [*answers, cost.json()]


def test_a_trial_changes_no_cost_until_it_is_current(bench):
    before = told()
    line = LineSpec(material=bench.materials["olive"], basis=Basis.SHARE_OF_FATS, amount=Decimal(1))
    spec = VersionSpec(
        lines=[line],
        naoh=bench.materials["naoh"],
        water=bench.materials["water"],
        superfat=Decimal("0.08"),
        lye_concentration=Decimal("0.3"),
        minutes=500,
    )
    trial = add_version(bench.formula, spec)
    add_version(bench.formula, replace(spec, minutes=700))
    assert told() == before
    make_current(trial)
    after = told()
    assert after[0] != before[0] and after[2] != before[2]
