"""Tiers, prices, ladders and the margin watch over the API."""

import pytest

from costing.models.rates.rates import Rate
from tests.costing.priced import a_shelf, dearer, floor_of, priced, quoted
from tests.inventory.making import TODAY
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import fields_of, problem_in

pytestmark = pytest.mark.django_db
TIERS, PRICES = "/api/v1/tiers/", "/api/v1/price-entries/"
LADDER, SUGGESTED = "/api/v1/price-ladder/", "/api/v1/price-suggestions/"
WATCH = "/api/v1/margin-watch/"
ON = TODAY.isoformat()


@pytest.fixture
def owner():
    return client_as("owner")


@pytest.fixture
def shelf():
    return a_shelf()


def money(value):
    return f"{value // 10_000}.{value % 10_000 // 100:02d}"


def named(problem):
    return {field for field, _ in fields_of(problem)}


def body(product, tier, price, **values):
    described = {"product": product.code, "tier": tier.code, "price": money(price)}
    return {**described, "effective_from": ON, **values}


def test_a_ladder_is_started_once_and_changed_at_will(owner):
    key = {"HTTP_IDEMPOTENCY_KEY": "start"}
    answer = owner.post(f"{TIERS}start-ladder/", {}, **key)
    assert answer.status_code == 201, answer.content
    assert [tier["code"] for tier in answer.json()["tiers"]] == [
        "direct",
        "wholesale",
        "distributor",
    ]
    assert owner.post(f"{TIERS}start-ladder/", {}, **key).json() == answer.json()
    again = owner.post(f"{TIERS}start-ladder/", {}, HTTP_IDEMPOTENCY_KEY="again")
    problem_in(again, 409, "ladder-there")
    change = {"ending": "0.95", "step": "1", "wanted_margin": "55 %"}
    changed = owner.patch(f"{TIERS}wholesale/", change, headers={"If-Match": "*"})
    assert changed.json()["ending"]["amount"] == "0.95"
    assert changed.json()["revision"] == 2
    bad = owner.patch(f"{TIERS}wholesale/", {"ending": "1"}, headers={"If-Match": "*"})
    assert named(problem_in(bad, 422, "tier-refused")) == {"ending"}


def test_a_price_is_kept_listed_and_refused_under_the_floor(owner, shelf):
    product, tier, _ = shelf
    floor = floor_of(product, tier)
    answer = owner.post(PRICES, body(product, tier, floor))
    assert answer.status_code == 201, answer.content
    row = answer.json()
    assert (row["product"], row["tier"], row["from_quantity"]) == (product.code, tier.code, 1)
    assert row["price"]["amount"] == money(floor)
    assert owner.get(PRICES, {"product": product.code}).json()["results"] == [row]
    low = body(product, tier, floor - 500, from_quantity=48)
    problem_in(owner.post(PRICES, low), 409, "price-under-floor")
    allowed = owner.post(PRICES, {**low, "override_reason": "First order"})
    assert allowed.status_code == 201
    assert allowed.json()["override_floor"]["amount"] == money(floor_of(product, tier, 48))
    problem_in(owner.post(PRICES, body(product, tier, floor)), 409, "price-taken")


def test_what_a_price_is_for_stays_and_its_end_may_be_named(owner, shelf):
    product, tier, _ = shelf
    entry = priced(product, tier, floor_of(product, tier))
    address, match = f"{PRICES}{entry.pk}/", {"If-Match": "*"}
    moved = owner.patch(address, {"from_quantity": 5}, headers=match)
    assert named(problem_in(moved, 409, "price-taken")) == {"from_quantity"}
    ended = owner.patch(address, {"ended_on": "2999-01-01"}, headers=match)
    assert (ended.status_code, ended.json()["ended_on"]) == (200, "2999-01-01")
    late = owner.patch(address, {"price": "99.00"}, headers=match)
    problem_in(late, 409, "price-taken")


def test_several_prices_are_kept_together_or_not_at_all(owner, shelf):
    product, tier, _ = shelf
    floor = floor_of(product, tier)
    entries = [
        body(product, tier, floor + 500),
        body(product, tier, floor + 1000, from_quantity=48),
    ]
    upside_down = owner.post(f"{PRICES}together/", {"entries": entries}, HTTP_IDEMPOTENCY_KEY="one")
    problem_in(upside_down, 422, "price-refused")
    entries[1]["price"] = money(floor)
    kept = owner.post(f"{PRICES}together/", {"entries": entries}, HTTP_IDEMPOTENCY_KEY="two")
    assert kept.status_code == 201, kept.content
    assert [each["price"]["amount"] for each in kept.json()["entries"]] == [
        money(floor + 500),
        money(floor),
    ]


def test_the_ladder_shows_price_tax_margins_and_floor_as_the_locale_writes(owner, shelf, settings):
    product, tier, _ = shelf
    tier.tax_share = "0.2"
    tier.save()
    floor = floor_of(product, tier)
    priced(product, tier, floor)
    settings.STUDIO_LOCALE = "de_DE"
    settings.STUDIO_CURRENCY = "EUR"
    shown = owner.get(LADDER, {"product": product.code, "on": ON}).json()
    assert shown["cost_actual"] is None
    (only,) = shown["tiers"]
    (rung,) = only["prices"]
    assert rung["floor"]["amount"] == only["floor"]["amount"] == money(floor)
    amounts = rung["amounts"]
    parts = [round(float(amounts[n]["amount"]) * 100) for n in ("without_tax", "tax", "with_tax")]
    assert parts[0] + parts[1] == parts[2]
    assert amounts["shown"]["with_tax"] == (
        f"{parts[2] // 100},{parts[2] % 100:02d}\N{NO-BREAK SPACE}\N{EURO SIGN}"
    )
    over = rung["over_replacement"]
    assert float(over["margin_of_price"]) >= 0.4
    assert float(over["markup_on_cost"]) > float(over["margin_of_price"])
    assert over["shown"]["margin_of_price"].endswith("\N{NO-BREAK SPACE}%")
    assert "," in over["shown"]["margin_of_price"]
    assert rung["over_actual"]["margin_of_price"] is None
    assert rung["standing"] == "below_wanted"


def test_suggested_prices_can_be_kept_as_they_are(owner, shelf):
    product, *_ = shelf
    query = {"product": product.code, "on": ON, "quantities": "1,24,144"}
    found = owner.get(SUGGESTED, query).json()["suggestions"]
    assert [each["from_quantity"] for each in found] == [1, 24, 144]
    entries = [
        {
            "product": product.code,
            "tier": each["tier"],
            "from_quantity": each["from_quantity"],
            "price": each["price"],
            "effective_from": ON,
        }
        for each in found
    ]
    kept = owner.post(f"{PRICES}together/", {"entries": entries}, HTTP_IDEMPOTENCY_KEY="all")
    assert kept.status_code == 201, kept.content
    shown = owner.get(LADDER, {"product": product.code, "on": ON}).json()
    assert {rung["standing"] for rung in shown["tiers"][0]["prices"]} == {"keeps_margin"}


def test_the_watch_answers_on_demand(owner, shelf):
    product, tier, offers = shelf
    floor = floor_of(product, tier)
    priced(product, tier, floor)
    quoted(product, tier, floor)
    none = {"on": ON, "floors_not_known": 0, "prices": [], "quotes": []}
    assert owner.get(WATCH, {"on": ON}).json() == none
    dearer(offers["olive"], "1.3")
    shown = owner.get(WATCH, {"on": ON}).json()
    restoring = money(floor_of(product, tier))
    assert [each["restoring_price"]["amount"] for each in shown["prices"]] == [restoring]
    assert [each["quote"] for each in shown["quotes"]] == ["Q-00001"]


def test_the_watch_tells_of_how_many_prices_the_floor_is_not_known(owner, shelf):
    product, tier, _ = shelf
    floor = floor_of(product, tier)
    priced(product, tier, floor)
    quoted(product, tier, floor)
    Rate.objects.filter(kind="overhead_batch").delete()
    assert owner.get(WATCH, {"on": ON}).json()["floors_not_known"] == 2


def test_alerts_about_margins_are_for_those_who_see_costs(owner, shelf):
    product, tier, offers = shelf
    priced(product, tier, floor_of(product, tier))
    dearer(offers["olive"], "1000")
    alerts = "/api/v1/alerts/"
    owner.post(f"{alerts}evaluate/", {}, HTTP_IDEMPOTENCY_KEY="look")
    (alert,) = owner.get(alerts, {"kind": "margin"}).json()["results"]
    assert alert["figures"]["restoring_price"] > alert["figures"]["price"]
    maker = client_as("maker")
    assert maker.get(alerts, {"kind": "margin"}).json()["results"] == []
    assert maker.get(f"{alerts}{alert['id']}/").status_code == 404


def test_bad_questions_are_told(owner, shelf):
    product, _, _ = shelf
    assert named(problem_in(owner.get(LADDER), 422, "invalid-input")) == {"product"}
    problem_in(owner.get(LADDER, {"product": "none"}), 404, "not-found")
    bad_day = owner.get(LADDER, {"product": product.code, "on": "today"})
    assert named(problem_in(bad_day, 422, "invalid-input")) == {"on"}
    for quantities in ("", "0", "1,x", "9999999", ",".join("1" * 21)):
        answer = owner.get(SUGGESTED, {"product": product.code, "quantities": quantities})
        assert named(problem_in(answer, 422, "invalid-input")) == {"quantities"}


@pytest.mark.parametrize("address", [TIERS, PRICES, LADDER, SUGGESTED, WATCH])
def test_prices_are_for_those_who_may_see_costs(address):
    assert client_as("viewer").get(address).status_code == 403
    assert client_as("maker").get(address).status_code == 403
    assert client_as("maker", see_costs=True).post(PRICES, {}).status_code == 403


def test_break_even_as_published(owner):
    """OpenStax, Principles of Accounting, Volume 2, section 3.2 break-even point."""
    answer = owner.post(
        "/api/v1/compute/break-even/",
        {
            "fixed_cost": "18000",
            "products": [{"name": "bar", "price": "100", "variable_cost": "20"}],
        },
    )
    shown = answer.json()
    assert (shown["bars"], shown["bars_exact"], shown["sales_exact"]) == (225, "225", "22500")
    assert (shown["contribution_ratio"], shown["sales"]["amount"]) == ("0.8", "22500.00")
    losing = owner.post(
        "/api/v1/compute/break-even/",
        {"fixed_cost": "1", "products": [{"name": "bar", "price": "1", "variable_cost": "1"}]},
    )
    problem_in(losing, 422, "no-break-even")


def test_the_minimum_order_pays_its_packing(owner):
    address = "/api/v1/compute/minimum-order/"
    given = {
        "prices": [{"price": "4.76"}, {"from_quantity": 24, "price": "3.57"}],
        "cost_per_bar": "2",
        "cost_per_order": "3",
        "cost_per_carton": "1.50",
        "bars_per_carton": 12,
        "tax_share": "19 %",
        "tax_included": True,
    }
    shown = owner.post(address, given).json()
    assert (shown["quantity"], shown["cartons"], shown["price"]["amount"]) == (3, 1, "4.00")
    assert (shown["left"]["amount"], shown["note"]) == ("1.50", "")
    none = owner.post(address, {**given, "cost_per_bar": "4"}).json()
    assert none["quantity"] is None
    assert "No order" in none["note"]
    bad = owner.post(address, {**given, "prices": []})
    problem_in(bad, 422, "no-break-even")
    large = owner.post(address, {**given, "prices": [{"price": "99999999"}]})
    assert named(problem_in(large, 422, "no-break-even")) == {"prices.0.price"}
