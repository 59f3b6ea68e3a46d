"""Buy plans made from what runs short, and the orders made of them."""

from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.domain.catalog.packs import PriceBreak
from inventory.errors import MaterialRefusal
from inventory.models.buying.orders import BuyPlan, PurchaseOrder
from inventory.queries.stock.on_order import on_order
from inventory.queries.stock.positions import stock_positions
from inventory.services.buying.orders import cancel_order, place_draft
from inventory.services.buying.plans import BuyOptions, make_plan, order_plan
from inventory.services.buying.requirements import require
from inventory.services.catalog.suppliers import OfferDescription, save_offer
from studio.foundation.errors import NotFound, StateConflict
from tests.inventory.buying import a_supplier, an_offer, an_oil, an_order, faults_of
from tests.inventory.making import KG, TODAY, make_lot


def day(days):
    return TODAY + timedelta(days=days)


@pytest.fixture
def shop(database):
    """Two oils run low; one supplier has a price break, the other is nearer."""
    hill = a_supplier("hill", lead_time_days=5, freight=150_000, free_freight_from=1_000_000)
    lake = a_supplier("lake", lead_time_days=2, freight=80_000)
    olive = an_oil("olive", reorder_point=5 * KG, reorder_to=20 * KG)
    shea = an_oil("shea", reorder_point=2 * KG, reorder_to=6 * KG)
    make_lot(olive, 4 * KG, 100)
    an_offer(hill, olive, "5 kg", 300_000, code="hill-olive", breaks=[PriceBreak(4, 250_000)])
    an_offer(lake, olive, "1 kg", 70_000, code="lake-olive")
    an_offer(hill, shea, "2 kg", 200_000, code="hill-shea")
    return olive, shea


def lines_of(plan):
    return {
        line["offer"]: line["packs"] for order in plan.found["orders"] for line in order["lines"]
    }


def test_what_runs_low_is_bought_up_to_its_level_at_the_least_cost(shop):
    plan = make_plan(BuyOptions(days=20), on=TODAY)
    found = plan.found
    assert (found["outcome"], found["gap"], found["unmet"], found["late"]) == ("proven", 0, [], [])
    # 16 kg of olive: four packs at the break are cheaper than 16 kg elsewhere, and with three of
    # shea all comes free of freight.
    assert lines_of(plan) == {"hill-olive": 4, "hill-shea": 3}
    (order,) = found["orders"]
    assert (order["goods"], order["freight"]) == (4 * 250_000 + 3 * 200_000, 0)
    assert found["cost"]["total"] == found["bound"] < found["runner_up"]["cost"]["total"]
    assert all(line["reason"] for line in order["lines"])
    assert on_order() == {}


def test_dated_requirements_are_needs_by_their_days(shop):
    olive, _ = shop
    require({olive.pk: 9 * KG}, holder="batch:B-1", due_on=day(3))
    found = make_plan(BuyOptions(days=20), on=TODAY).found
    needs = [(n["amount"], n["due"]) for n in found["needs"] if n["material"] == "olive"]
    # 4 kg are there; the position is 5 kg below nothing, so 25 kg bring it to its level of 20.
    assert needs == [(5 * KG, str(day(3))), (20 * KG, str(day(0)))]
    near = [line for o in found["orders"] for line in o["lines"] if line["offer"] == "lake-olive"]
    assert near[0]["packs"] >= 5 and near[0]["order_by"] == str(day(1))
    assert "hill-olive would come too late" in near[0]["reason"]


def test_what_no_offer_brings_in_time_is_named_and_bought_all_the_same(shop):
    _, shea = shop
    require({shea.pk: 3 * KG}, holder="batch:B-1", due_on=day(1))
    found = make_plan(BuyOptions(days=20), on=TODAY).found
    (late,) = found["late"]
    assert (late["material"], late["earliest"], late["order_by"]) == (
        "shea",
        str(day(5)),
        str(day(-4)),
    )
    assert found["unmet"] == [] and all(o["lines"] for o in found["orders"])


def test_a_budget_names_the_needs_it_does_not_pay_for(shop):
    found = make_plan(BuyOptions(days=20, budget=900_000), on=TODAY).found
    (unmet,) = found["unmet"]
    assert (unmet["material"], [o["code"] for o in unmet["obstacles"]]) == ("olive", ["budget"])
    assert found["cost"]["paid"] <= 900_000


def test_a_blocked_supplier_gets_no_order(shop):
    found = make_plan(BuyOptions(days=20, blocked=["hill"]), on=TODAY).found
    assert {order["supplier"] for order in found["orders"]} == {"lake"}
    (unmet,) = found["unmet"]
    assert (unmet["material"], [o["code"] for o in unmet["obstacles"]]) == ("shea", ["blocked"])


def test_a_full_shelf_limits_what_is_bought(shop):
    olive, _ = shop
    olive.shelf_space = 21 * KG
    olive.save()
    plan = make_plan(BuyOptions(days=20), on=TODAY)
    bought = lines_of(plan)
    assert "hill-olive" in bought and bought["hill-olive"] * 5 + bought.get("lake-olive", 0) <= 17
    assert (
        make_plan(BuyOptions(days=20, keep_to_space=False), on=TODAY).found["cost"]["total"]
        < (plan.found["cost"]["total"])
    )


def test_the_orders_of_a_plan_are_drafted_once_and_count_when_placed(shop):
    olive, shea = shop
    plan = make_plan(BuyOptions(days=20), on=TODAY)
    (order,) = order_plan(plan.code)
    assert (order.state, order.plan, on_order()) == (PurchaseOrder.State.DRAFT, plan, {})
    assert [line.price for line in order.lines.all()] == [1_000_000, 600_000]
    with pytest.raises(StateConflict):
        order_plan(plan.code)
    place_draft(order.code, on=day(1))
    order.refresh_from_db()
    assert (order.ordered_on, order.expected_on) == (day(1), day(6))
    assert on_order() == {olive.pk: 20 * KG, shea.pk: 6 * KG}
    assert stock_positions(on=TODAY)[olive.pk].projected == 24 * KG
    assert make_plan(BuyOptions(days=20), on=TODAY).found["orders"] == []


def test_a_plan_whose_offers_changed_is_not_ordered(shop):
    plan = make_plan(BuyOptions(days=20), on=TODAY)
    offer = shop[0].offers.get(code="hill-olive")
    described = OfferDescription(
        code=offer.code, supplier="hill", material="olive", pack_written="5 kg", price=310_000
    )
    save_offer(described, offer_id=offer.pk)
    with pytest.raises(StateConflict, match="hill-olive"):
        order_plan(plan.code)
    assert not PurchaseOrder.objects.exists()
    with pytest.raises(NotFound):
        order_plan("BP-99999")
    save_offer(replace(described, active=False), offer_id=offer.pk)
    assert "hill-olive" not in lines_of(make_plan(BuyOptions(days=20), on=TODAY))


def test_a_draft_is_cancelled_or_placed_but_not_while_an_offer_does_not_hold(shop):
    plan = make_plan(BuyOptions(days=20), on=TODAY)
    (order,) = order_plan(plan.code)
    offer = shop[1].offers.get()
    save_offer(
        OfferDescription(
            code=offer.code,
            supplier="hill",
            material="shea",
            pack_written="2 kg",
            price=200_000,
            valid_until=day(2),
        ),
        offer_id=offer.pk,
    )
    with pytest.raises(MaterialRefusal) as refused:
        place_draft(order.code, on=day(3))
    assert faults_of(refused) == {("offer-not-current", "lines.1.offer")}
    assert cancel_order(order.code).state == PurchaseOrder.State.CANCELLED
    with pytest.raises(StateConflict):
        place_draft(order.code, on=day(1))


def test_every_wrong_option_is_told_at_once(shop):
    wrong = BuyOptions(
        days=0, rounds=9, days_between=0, seconds=0, budget=-1, blocked=["hill", "nobody"]
    )
    with pytest.raises(MaterialRefusal) as refused:
        make_plan(wrong, on=TODAY)
    assert faults_of(refused) == {
        ("out-of-range", "days"),
        ("out-of-range", "rounds"),
        ("out-of-range", "days_between"),
        ("out-of-range", "seconds"),
        ("out-of-range", "budget"),
        ("not-found", "blocked"),
    }
    assert not BuyPlan.objects.exists()


@pytest.mark.parametrize("materials", [1, 8])
def test_planning_asks_the_same_queries_for_any_number_of_materials(db, materials):
    supplier = a_supplier()
    for number in range(materials):
        oil = an_oil(f"oil-{number}x", reorder_point=KG, reorder_to=2 * KG)
        an_offer(supplier, oil, "1 kg")
    make_plan(BuyOptions(), on=TODAY)
    with CaptureQueriesContext(connection) as asked:
        make_plan(BuyOptions(), on=TODAY)
    assert len(asked) == 20


def test_goods_on_order_are_not_bought_again(shop):
    olive, _ = shop
    an_order(olive.offers.get(code="hill-olive"), 4)
    assert set(lines_of(make_plan(BuyOptions(days=20), on=TODAY))) == {"hill-shea"}
