"""The arithmetic of costs and prices alone, over the API."""

from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.costing.api.bar_cost.test_costs import adds_up, units
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import fields_of, problem_in

pytestmark = pytest.mark.django_db
COST, PRICE = "/api/v1/compute/cost/", "/api/v1/compute/price/"
OLIVE = {"name": "Olive oil", "amount": "700 g", "price": "8.00", "per": "1 kg"}
EGGS = {"name": "Eggs", "amount": "3 each", "price": "4.20", "per": "1 dozen"}
BOXES = {"name": "Boxes", "amount": "10 each", "price": "15", "per": "100 each"}
BATCH = {
    "materials": [OLIVE, EGGS],
    "packaging": [BOXES],
    "labor_minutes": 90,
    "labor_per_hour": "20",
    "overhead_per_batch": "4",
    "overhead_per_labor_hour": "2",
    "good_bars": 10,
}


@pytest.fixture
def owner():
    return client_as("owner")


def costed(client, **values):
    answer = client.post(COST, {**BATCH, **values})
    assert answer.status_code == 200, answer.content
    return answer.json()


def priced(client, **body):
    answer = client.post(PRICE, body)
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_a_batch_by_hand(owner):
    """700 g at 8.00/kg, 3 of 12 eggs at 4.20, 10 boxes at 0.15; 1.5 h at 20 + 2; 4 a batch."""
    shown = costed(owner)
    kinds = {kind: money["amount"] for kind, money in shown["by_kind"].items()}
    assert kinds == {
        "material": "6.65",
        "packaging": "1.50",
        "labor": "30.00",
        "overhead": "7.00",
        "recovered": "0.00",
    }
    assert shown["total"]["amount"] == "45.15"
    assert (shown["per_bar"]["amount"], shown["per_bar_exact"]) == ("4.515", "903/200")
    assert shown["lines"][0]["quantity"] == {"amount": "700", "unit": "g"}
    assert adds_up(shown)


@pytest.mark.parametrize("told", [{}, {"labor_minutes": None}])
def test_labor_that_nobody_told_the_minutes_of_is_not_known(owner, told):
    body = {name: value for name, value in BATCH.items() if name != "labor_minutes"}
    answer = owner.post(COST, {**body, **told}).json()
    assert (answer["total"], answer["per_bar"], answer["by_kind"]["labor"]) == (None, None, None)
    assert answer["by_kind"]["material"]["amount"] == "6.65"
    none_at_all = costed(owner, labor_minutes=0)
    assert none_at_all["by_kind"]["labor"]["amount"] == "0.00"
    assert none_at_all["total"]["amount"] == "12.15"


def test_rejects_raise_the_cost_of_a_bar_and_abnormal_ones_are_a_loss(owner):
    """IAS 2.16: abnormal waste is an expense, the usual rejects stay in the cost."""
    normal = costed(owner, good_bars=9, normal_rejects=1)
    abnormal = costed(owner, good_bars=9, abnormal_rejects=1)
    assert normal["per_bar_exact"] == str(Fraction(4515, 900))
    assert units(normal["abnormal_loss"]) == 0
    assert (abnormal["abnormal_loss"]["amount"], abnormal["per_bar"]["amount"]) == (
        "4.515",
        "4.515",
    )
    assert abnormal["cost_of_good_bars"]["amount"] == "40.635"


def test_what_is_recovered_lowers_the_cost(owner):
    shown = costed(owner, recovered="5.15")
    assert shown["total"]["amount"] == "40.00"
    assert shown["by_kind"]["recovered"]["amount"] == "-5.15"


@pytest.mark.parametrize(
    ("values", "status", "fields"),
    [
        ({"materials": [{**OLIVE, "per": "1 L"}]}, 422, {("materials.0.per", "wrong-dimension")}),
        ({"materials": [{**OLIVE, "per": "0 kg"}]}, 422, {("materials.0.per", "not-positive")}),
        (
            {"packaging": [{**BOXES, "price": "8" * 14, "per": "1 each", "amount": "999 each"}]},
            422,
            {("packaging.0.price", "too-large")},
        ),
        ({"materials": [{**OLIVE, "price": "-1"}]}, 400, {("materials.0.price", "negative")}),
        ({"materials": [{**OLIVE, "lot": "L-1"}]}, 400, {("materials.0.lot", "unknown-field")}),
        ({"materials": [{"name": "Salt"}]}, 400, None),
        ({"materials": [OLIVE] * 501}, 400, None),
        ({"good_bars": 0}, 400, {("good_bars", "min_value")}),
        ({"good_bars": 10**7}, 400, {("good_bars", "max_value")}),
        ({"normal_rejects": -1}, 400, {("normal_rejects", "min_value")}),
        ({"labor_minutes": -5}, 400, {("labor_minutes", "min_value")}),
        ({"labor_per_hour": "1000001"}, 422, {("labor_per_hour", "too-large")}),
        ({"recovered": "100"}, 422, {("recovered", "cost-not-known")}),
    ],
)
def test_what_cannot_be_costed_is_refused(owner, values, status, fields):
    answer = owner.post(COST, {**BATCH, **values})
    document = problem_in(answer, status, answer.json()["code"])
    if fields:
        assert fields_of(document) == fields


def test_all_faults_of_all_lines_at_once(owner):
    bad = {**OLIVE, "per": "1 L"}
    document = problem_in(
        owner.post(COST, {**BATCH, "materials": [bad, EGGS, bad], "packaging": [bad]}),
        422,
        "cost-not-known",
    )
    assert {f for f, _ in fields_of(document)} == {
        "materials.0.per",
        "materials.2.per",
        "packaging.0.per",
    }


def test_a_margin_is_of_the_price_and_a_markup_on_the_cost(owner):
    """At a cost of 2.00, half of the price is profit at 4.00; half of the cost on top is 3.00."""
    margin = priced(owner, cost_per_bar="2", margin_of_price="50 %")
    markup = priced(owner, cost_per_bar="2", markup_on_cost="50 %")
    assert margin["price"]["amount"] == "4.00" and markup["price"]["amount"] == "3.00"
    assert (margin["margin_of_price"], margin["markup_on_cost"]) == ("0.5", "1")
    assert (markup["margin_of_price"], markup["markup_on_cost"]) == ("0.333333", "0.5")
    assert margin["profit_per_bar"]["amount"] == "2.00"


def text(money):
    return f"{money // 10_000}.{money % 10_000:04d}"


@given(cost=st.integers(1, 10**8), share=st.integers(0, 999_000), step=st.integers(1, 10**5))
@settings(
    max_examples=40,
    suppress_health_check=[HealthCheck.function_scoped_fixture],  # a client keeps nothing
)
def test_the_price_is_the_lowest_on_the_step_that_keeps_the_margin(owner, cost, share, step):
    body = {
        "cost_per_bar": text(cost),
        "margin_of_price": f"0.{share:06d}",
        "price_step": text(step),
    }
    price = units(priced(owner, **body)["price"])
    wanted = Fraction(share, 10**6)
    assert price % step == 0
    assert Fraction(price - cost, price) >= wanted
    below = price - step
    assert below <= 0 or Fraction(below - cost, below) < wanted


@pytest.mark.parametrize(
    ("body", "status", "fields"),
    [
        ({"cost_per_bar": "2"}, 400, {("margin_of_price", "price-not-possible")}),
        (
            {"cost_per_bar": "2", "margin_of_price": "0.5", "markup_on_cost": "1"},
            400,
            {("margin_of_price", "price-not-possible")},
        ),
        ({"cost_per_bar": "2", "margin_of_price": "1"}, 422, {("margin_of_price", "out-of-range")}),
        ({"cost_per_bar": "2", "margin_of_price": "1.2"}, 400, {("margin_of_price", "too-large")}),
        ({"cost_per_bar": "2", "margin_of_price": "-0.1"}, 400, None),
        (
            {"cost_per_bar": "2", "markup_on_cost": "1000"},
            422,
            {("markup_on_cost", "out-of-range")},
        ),
        (
            {"cost_per_bar": "0", "margin_of_price": "0.5", "price_step": "0"},
            422,
            {("cost_per_bar", "cost-not-positive"), ("price_step", "step-not-positive")},
        ),
        ({"cost_per_bar": "-2", "margin_of_price": "0.5"}, 400, {("cost_per_bar", "negative")}),
        ({"cost_per_bar": "2", "margin": "0.5"}, 400, None),
    ],
)
def test_a_price_that_cannot_be_is_refused(owner, body, status, fields):
    answer = owner.post(PRICE, body)
    document = problem_in(answer, status, answer.json()["code"])
    if fields:
        assert fields_of(document) == fields


@pytest.mark.parametrize(
    ("role", "allowed", "status"),
    [
        ("owner", False, 200),
        ("maker", False, 403),
        ("maker", True, 200),
        ("viewer", False, 403),
        ("viewer", True, 200),
    ],
)
def test_who_may_compute_costs_and_prices(role, allowed, status):
    client = client_as(role, see_costs=allowed)
    assert client.post(COST, BATCH).status_code == status
    body = {"cost_per_bar": "2", "margin_of_price": "0.5"}
    assert client.post(PRICE, body).status_code == status
