"""What-if over the API: asked in a maker's words, answered by how far bars and prices move."""

from decimal import Decimal

import pytest

from costing.models.prices.prices import PriceEntry, Tier
from tests.costing.queries.what_if.test_what_if import bench  # noqa: F401 - the same studio
from tests.inventory.making import TODAY
from tests.studio.web.api.people import client_as

ADDRESS = "/api/v1/what-if/"


@pytest.fixture
def owner(bench):  # noqa: F811
    return client_as("owner")


def ask(client, *changes, **more):
    body = {"changes": list(changes), "on": TODAY.isoformat(), **more}
    return client.post(ADDRESS, body, format="json")


def price(product, amount, **values):
    tier, _ = Tier.objects.get_or_create(
        code="shops",
        defaults={
            "name": "Shops",
            "wanted_margin": Decimal("0.5"),
            "floor_margin": Decimal("0.4"),
            "step": 500,
        },
    )
    return PriceEntry.objects.create(
        product=product, tier=tier, price=amount, effective_from=TODAY, **values
    )


def test_recipes_and_prices_with_what_each_change_does(bench, owner):  # noqa: F811
    listed = price(bench.product, 10**6)
    changes = ({"material": "olive", "by": "30 %"}, {"rate": "labor_hour", "amount": "25.50"})
    [before] = ask(owner, *changes).json()["prices"]
    listed.price = round(Decimal(before["floor"]["amount"]) * 10_000)  # on its floor
    listed.save()
    answer = ask(owner, *changes, lines=True)
    assert answer.status_code == 200, answer.json()
    found = answer.json()
    (recipe,) = found["recipes"]
    money = {
        name: Decimal(recipe[name]["amount"])
        for name in ("base", "changed", "difference", "interaction")
    }
    alone = sum(Decimal(each["amount"]) for each in recipe["by_change"])
    assert money["base"] + alone + money["interaction"] == money["changed"]
    assert money["difference"] > 0 and found["moved"] == found["asked"] == 1
    assert {line["code"] for line in recipe["lines"]} >= {"olive", "labor", "making"}
    assert found["unknown"] == 0
    (entry,) = found["prices"]
    assert entry["floor_at_least"] == entry["floor"]
    assert not entry["was_under"] and entry["is_under"] and found["under_floor"] == 1
    assert Decimal(entry["changed_margin"]) < Decimal("0.4") <= Decimal(entry["margin"])
    restoring, changed = (entry[name]["amount"] for name in ("restoring", "changed_floor"))
    assert Decimal(restoring) == Decimal(changed) > Decimal(entry["price"]["amount"])


def test_each_kind_of_change_is_read(bench, owner):  # noqa: F811
    answer = ask(
        owner,
        {"material": "box", "price": "0.50", "per": "1 each"},
        {"offer": "mill-olive", "withdrawn": True},
        {"good_bars": "90 %", "formulas": ["plain"]},
        {"superfat": "0.03", "lye_concentration": "0.30"},
        first=1,
    )
    assert answer.status_code == 200, answer.json()
    assert len(answer.json()["recipes"][0]["by_change"]) == 4
