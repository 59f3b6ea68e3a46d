"""A young studio reorders by default: what is under its point is bought, unknown is not zero."""

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models.catalog.materials import Material
from inventory.services.buying.requirements import require
from tests.inventory.api.calls import Caller, g
from tests.inventory.making import KG


def in_days(days):
    return str(timezone.localdate() + timedelta(days=days))


@pytest.fixture
def young(db):
    """An empty studio with one oil that keeps a year, a point of 5 kg, and one pack of 10 kg."""
    owner = Caller("owner")
    owner.made("suppliers/", {"code": "hill", "name": "Hill (invented)", "lead_time_days": 5})
    oil = {"code": "olive", "name": "Olive oil", "kind": "fat", "shelf_life_days": 365}
    owner.made("materials/", {**oil, "reorder_point": "5 kg", "reorder_to": "8 kg"})
    offer = {"code": "hill-olive", "supplier": "hill", "material": "olive"}
    owner.made("offers/", {**offer, "pack_written": "10 kg", "price": "90.00"})
    return owner


def take_in(owner, written):
    line = {"material": "olive", "written": written, "price": "20.00"}
    day = {"supplier": "hill", "received_on": in_days(0), "invoice": "A-1"}
    owner.made("deliveries/", {**day, "lines": [line]})


def need(written, days):
    olive = Material.objects.get(code="olive")
    require(
        {olive.pk: written}, holder="batch:B-00001", due_on=timezone.localdate() + timedelta(days)
    )


def test_a_planned_batch_does_not_keep_an_undershot_point_from_being_bought(young):
    take_in(young, "1 kg")
    need(KG // 5, 10)
    plan = young.made("buy-plans/", {})
    assert (plan["outcome"], plan["unmet"], plan["late"]) == ("proven", [], [])
    (order,) = plan["orders"]
    assert [(line["offer"], line["packs"]) for line in order["lines"]] == [("hill-olive", 1)]
    assert plan["unlimited_by_shelf_life"] == ["olive"]
    (due,) = plan["needs"]
    assert (due["amount"], due["due"]) == (g("7200"), in_days(0))


def test_an_undershot_point_is_ordered_today_from_whom_is_cheapest(young):
    quick = {"code": "quick-olive", "supplier": "hill", "material": "olive", "lead_time_days": 1}
    young.made("offers/", {**quick, "pack_written": "10 kg", "price": "300.00"})
    plan = young.made("buy-plans/", {"rounds": 3})
    (order,) = plan["orders"]
    assert (order["order_on"], order["lines"][0]["offer"]) == (in_days(0), "hill-olive")
    assert order["lines"][0]["order_by"] == in_days(0)
    assert plan["late"] == []


def test_use_that_nobody_knows_is_told_as_unknown(young):
    seen = young.seen("materials/olive/demand/")["forecast"]
    assert (seen["expected"], seen["mean"]) == (None, None)
    outlook = young.seen("projection/olive/")
    assert outlook["use_known"] is False
