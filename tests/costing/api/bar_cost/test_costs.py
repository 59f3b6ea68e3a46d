"""Costs of batches and of recipes over the API."""

from decimal import Decimal

import pytest

from costing.models.rates.rates import Rate
from costing.queries.bar_cost.batches import cost_of_batch
from costing.queries.bar_cost.price_basis import PriceBasis
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from recipes.models.bench.batches import Batch
from tests.costing.making import cured, cut, make_rates, poured
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import fields_of, problem_in

pytestmark = pytest.mark.django_db
PLAIN = "/api/v1/formulas/plain/cost/"
MOLD = {"target": {"mold": "loaf"}, "on": "2026-03-02"}


@pytest.fixture
def owner():
    return client_as("owner")


@pytest.fixture
def bench():
    made = make_bench()
    make_rates()
    return made


@pytest.fixture
def shelf(bench):
    stock(bench)
    return bench


def address(code):
    return f"/api/v1/batches/{code}/cost/"


def units(money):
    """Ten-thousandths of money as the API writes it."""
    assert money["currency"] == "USD"
    whole, _, rest = money["amount"].partition(".")
    return int(whole) * 10_000 + int(rest.ljust(4, "0"))


def adds_up(shown):
    """Whether lines make up the total, kinds the same, and parts of a bar the bar."""
    assert sum(units(line["cost"]) for line in shown["lines"]) == units(shown["total"])
    assert sum(units(cost) for cost in shown["by_kind"].values()) == units(shown["total"])
    if shown["per_bar"] is not None:
        parts = sum(units(line["per_bar"]) for line in shown["lines"])
        assert parts == units(shown["per_bar"])
    return True


def test_a_cured_batch_is_shown_as_the_books_have_it(owner, shelf):
    code = cured(shelf, good=7, rejected=1)
    shown = owner.get(address(code)).json()
    assert (shown["batch"], shown["state"], shown["bars"], shown["rejects"]) == (
        code,
        "cured",
        7,
        1,
    )
    assert units(shown["total"]) == Lot.objects.get(code=code).cost
    assert shown["provisional"] is False and adds_up(shown)
    exact = cost_of_batch(code).bar.exact
    assert shown["per_bar_exact"] == str(exact / 10_000)
    labor = {x["code"]: x["quantity"] for x in shown["lines"] if x["kind"] == "labor"}
    assert labor == {
        "labor-mix": {"amount": "40", "unit": "min"},
        "labor-wrap": {"amount": "20", "unit": "min"},
    }
    box = next(line for line in shown["lines"] if line["code"] == "box")
    assert box["quantity"] == {"amount": "7", "unit": "each"} and box["kind"] == "packaging"
    assert Lot.objects.filter(code=box["origin"], material__code="box").exists()


@pytest.mark.parametrize("step", [poured, cut])
def test_before_the_cure_it_is_marked_provisional(owner, shelf, step):
    shown = owner.get(address(step(shelf))).json()
    assert shown["provisional"] is True and shown["bars"] == 8 and adds_up(shown)


def test_what_was_not_made_has_no_cost(owner, shelf):
    problem_in(owner.get(address(planned(shelf).code)), 409, "batch-not-made")
    problem_in(owner.get(address("B-99999")), 404, "not-found")
    problem_in(owner.get(address("B-99999") + "?bars=8"), 400, "unknown-query")


def test_without_a_rate_nothing_is_told_as_zero(owner, shelf):
    Rate.objects.filter(kind="labor_hour").delete()
    [cost] = owner.post(PLAIN, {**MOLD, "basis": "picked_lots"}).json()["costs"]
    unknown = ("total", "per_bar", "per_bar_exact", "cost_of_good_bars")
    assert {name: cost[name] for name in unknown} == dict.fromkeys(unknown)
    assert cost["by_kind"]["labor"] is None and cost["by_kind"]["overhead"] is not None
    lines = {line["code"]: line for line in cost["lines"]}
    assert (lines["labor"]["cost"], lines["labor"]["per_bar"]) == (None, None)
    least = Decimal(cost["at_least"]["amount"])
    known = [Decimal(line["at_least"]["amount"]) for line in lines.values()]
    assert least == sum(known) > 0 and not cost["complete"]
    assert abs(Decimal(cost["per_bar_at_least"]["amount"]) * 8 - least) < Decimal("0.001")
    made = owner.get(address(cured(shelf))).json()
    assert (made["total"], made["per_bar"], made["bar_weight"]) == (None, None, None)
    assert "labor hour" in made["notes"][0]


def test_a_recipe_is_costed_on_every_basis_and_stores_nothing(owner, shelf):
    before = StockEntry.objects.count()
    answer = owner.post(PLAIN, MOLD)
    assert answer.status_code == 200, answer.content
    shown = answer.json()
    assert (shown["formula"], shown["version"], shown["on"]) == ("plain", 1, "2026-03-02")
    costs = {cost["basis"]: cost for cost in shown["costs"]}
    assert list(costs) == list(PriceBasis)
    picked, average, replacement = (
        costs[basis] for basis in ("picked_lots", "moving_average", "replacement")
    )
    assert picked["total"] == average["total"]  # one lot of each
    # Nobody offers anything: what was last paid stands in, and says so.
    assert picked["complete"] and replacement["complete"] and replacement["missing"] == []
    assert replacement["total"] == picked["total"]
    assert "the last price paid stands in" in replacement["notes"][0]
    origins = {line["origin"] for line in replacement["lines"] if line["kind"] == "material"}
    assert origins == {"last paid 2026-03-02"}
    assert all(adds_up(each) and each["bars"] == 8 for each in shown["costs"])
    assert StockEntry.objects.count() == before and not Batch.objects.exists()


@pytest.mark.parametrize(
    ("target", "bars"),
    [
        ({"mold": "loaf", "fill_height": "50 mm"}, 8),
        ({"fats": "1 kg", "bars": 10}, 10),
        ({"batter": {"amount": "1500", "unit": "g"}}, 0),
        ({"volume": "1 L", "bars": 9}, 9),
        ({"bars": 12, "poured_weight": "120 g"}, 12),
    ],
)
def test_every_target_of_scaling_can_be_costed(owner, shelf, target, bars):
    answer = owner.post(PLAIN, {"target": target, "basis": "picked_lots", "on": "2026-03-02"})
    (shown,) = answer.json()["costs"]
    assert shown["bars"] == bars and adds_up(shown)
    assert (shown["per_bar"] is None) == (bars == 0)


def test_what_is_short_is_named_with_its_amount(owner, bench):
    stock(bench, amount=10**11)
    body = {"target": {"fats": "1 kg"}, "basis": "picked_lots", "on": "2026-03-02"}
    (shown,) = owner.post(PLAIN, body).json()["costs"]
    short = {m["material"]: m["amount"] for m in shown["missing"]}
    assert short["olive"] == {"amount": "600", "unit": "g"}
    assert not shown["complete"]


@pytest.mark.parametrize(
    ("body", "status", "code", "fields"),
    [
        ({}, 400, "invalid-fields", {("target", "required")}),
        ({"target": {}}, 422, "cannot-scale", {("target", "no-target")}),
        (
            {"target": {"fats": "1 kg", "batter": "2 kg"}},
            422,
            "cannot-scale",
            {("target.batter", "several-targets")},
        ),
        ({"target": {"poured_weight": "90 g"}}, 422, None, {("target.bars", "bars-missing")}),
        ({"target": {"fats": "0 kg"}}, 422, None, {("target.fats", "not-positive")}),
        ({"target": {"fats": "1 L"}}, 400, None, {("target.fats", "wrong-dimension")}),
        ({"target": {"fats": "1,5 kg"}}, 400, None, None),
        ({"target": {"fats": "-1 kg"}}, 400, None, None),
        ({"target": {"fats": "9" * 19 + " kg"}}, 400, None, None),
        ({"target": {"mold": "moon"}}, 404, "not-found", {("target.mold", "not-found")}),
        ({"target": {"soap": "1 kg"}}, 400, None, {("target.soap", "unknown-field")}),
        ({**MOLD, "basis": "guess"}, 400, None, {("basis", "invalid_choice")}),
        ({**MOLD, "version": 9}, 404, "not-found", None),
        ({**MOLD, "version": 0}, 400, None, {("version", "min_value")}),
        ({**MOLD, "on": "soon"}, 400, None, None),
    ],
)
@pytest.mark.usefixtures("shelf")
def test_what_cannot_be_costed_is_refused_with_its_reason(owner, body, status, code, fields):
    answer = owner.post(PLAIN, body)
    assert answer.status_code == status, answer.content
    document = problem_in(answer, status, code or answer.json()["code"])
    if fields:
        assert fields_of(document) == fields


def test_an_unknown_recipe_is_not_found(owner, shelf):
    problem_in(owner.post("/api/v1/formulas/none/cost/", MOLD), 404, "not-found")


@pytest.mark.parametrize(
    ("role", "allowed", "status"),
    [
        ("owner", False, 200),
        ("maker", False, 403),
        ("maker", True, 200),
        ("viewer", False, 403),
        ("viewer", True, 200),
        (None, True, 403),
    ],
)
def test_costs_are_for_the_owner_and_whom_the_owner_allows(shelf, role, allowed, status):
    client = client_as(role, see_costs=allowed)
    code = cured(shelf)
    for answer in (client.get(address(code)), client.post(PLAIN, MOLD)):
        assert answer.status_code == status
        if status == 403:
            problem_in(answer, 403, "not-allowed")
            assert b'"currency"' not in answer.content
