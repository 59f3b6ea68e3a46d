"""Buy plans and the life of an order, by HTTP alone."""

import csv
import io

import pytest
from django.utils import timezone

from tests.inventory.api.calls import Caller, g, nothing_changes, usd
from tests.inventory.api.conftest import fill_shelf
from tests.kept import once_a_module
from tests.studio.web.api.test_problems import problem_in

shelf_once = once_a_module(fill_shelf)


@pytest.fixture
def short(shelf):
    """Shea butter is at 5 kg, below its point of 6 kg; the supplier has terms and a break."""
    point = {"reorder_point": "6 kg", "reorder_to": "12 kg", "shelf_space": "20 kg"}
    assert shelf.patch("materials/shea-butter/", point).status_code == 200
    terms = {"freight": "9.00", "free_freight_from": "90.00", "email": "orders@hillside.example"}
    assert shelf.patch("suppliers/hillside/", terms).status_code == 200
    breaks = {"price_breaks": [{"from_packs": 3, "price": "22.00"}]}
    assert shelf.patch("offers/hill-shea/", breaks).status_code == 200
    return shelf


def test_terms_of_suppliers_offers_and_shelves_are_kept_and_shown(short, maker):
    assert short.seen("materials/shea-butter/")["shelf_space"] == g("20000")
    supplier, offer = short.seen("suppliers/hillside/"), short.seen("offers/hill-shea/")
    assert (supplier["freight"], supplier["free_freight_from"]) == (usd("9.00"), usd("90.00"))
    assert supplier["order_handling"] is None
    assert offer["price_breaks"] == [{"from_packs": 3, "price": usd("22.00")}]
    for path in ("suppliers/hillside/", "offers/hill-shea/"):
        assert not {"freight", "free_freight_from", "price_breaks"} & set(maker.seen(path))
    assert maker.patch("offers/hill-shea/", {"minimum_packs": 1}).status_code == 200
    put = {"code": "hill-shea", "supplier": "hillside", "material": "shea-butter"}
    assert maker.put("offers/hill-shea/", {**put, "pack_written": "5 lb"}).status_code == 200
    assert short.seen("offers/hill-shea/")["price_breaks"] == offer["price_breaks"]


@pytest.mark.parametrize(
    ("breaks", "field"),
    [
        ([{"from_packs": 3, "price": "25.00"}], "price_breaks.0.price"),
        (
            [{"from_packs": 3, "price": "22.00"}, {"from_packs": 2, "price": "21.00"}],
            "price_breaks.1.from_packs",
        ),
    ],
)
def test_breaks_that_cannot_be(short, breaks, field):
    with nothing_changes():
        answer = short.patch("offers/hill-shea/", {"price_breaks": breaks})
        document = problem_in(answer, 422, "material-refusal")
    assert field in {e["field"] for e in document["errors"]}


def test_a_plan_is_made_ordered_sent_received_and_closed(short):
    plan = short.made("buy-plans/", {"days": 14})
    # 7 kg are missing: four packs of 5 lb (2267.96 g) at the break, below free freight.
    (order,) = plan["orders"]
    (line,) = order["lines"]
    assert (plan["outcome"], plan["gap"], plan["unmet"]) == ("proven", usd("0.00"), [])
    assert (line["offer"], line["packs"], line["price"]) == ("hill-shea", 4, usd("88.00"))
    assert (order["freight"], line["pack_price"]) == (usd("9.00"), usd("22.00"))
    assert plan["cost"]["total"] == plan["bound"] and "Whole packs leave" in line["reason"]
    assert plan["runner_up"]["orders"][0]["lines"] == [{"offer": "hill-shea", "packs": 5}]

    (draft,) = short.post(f"buy-plans/{plan['code']}/order/").json()
    code = draft["code"]
    assert (draft["state"], draft["plan"]) == ("draft", plan["code"])
    assert short.seen("materials/shea-butter/stock/")["on_order"] == g("0")
    sent = short.post(f"purchase-orders/{code}/send/").json()
    assert (sent["state"], sent["ordered_on"]) == ("placed", str(timezone.localdate()))
    assert sent["mails"][0]["to"] == "orders@hillside.example"
    assert short.seen("materials/shea-butter/stock/")["on_order"] == g("9071.8474")

    came = {"received_on": str(timezone.localdate()), "invoice": "R-1"}
    part = {**came, "lines": [{"scan": "hill-shea", "packs": 3, "price": "69.00"}]}
    shown = short.post(f"purchase-orders/{code}/receive/", part).json()
    (line,) = shown["lines"]
    assert (shown["state"], line["outstanding"]) == ("placed", g("2267.96185"))
    assert (line["billed"], line["price_difference"]) == (usd("69.00"), usd("3.00"))
    rest = {**came, "confirm": ["invoice-again"], "lines": [{"position": 1, "packs": 2}]}
    shown = short.post(f"purchase-orders/{code}/receive/", rest).json()
    assert (shown["state"], shown["lines"][0]["over_delivered"]) == ("closed", g("2267.96185"))
    assert short.seen(f"buy-plans/{plan['code']}/")["drafted"] == [code]
    assert short.made("buy-plans/", {})["orders"] == []


def test_an_order_is_printed_and_read_as_a_table(short):
    body = {"supplier": "hillside", "ordered_on": "2026-03-20"}
    short.made("purchase-orders/", {**body, "lines": [{"offer": "hill-shea", "packs": 4}]})
    for paper in ("a4", "letter"):
        page = short.get("purchase-orders/P-00001/pdf/", paper=paper)
        assert page.status_code == 200 and page.content.startswith(b"%PDF")
    table = short.get("purchase-orders/P-00001/csv/")
    (row,) = csv.DictReader(io.StringIO(table.content.decode("utf-8-sig")))
    assert (row["offer"], row["packs"], row["price"]) == ("hill-shea", "4", "88.00")
    problem_in(short.get("purchase-orders/P-404/pdf/"), 404, "not-found")
    problem_in(short.get("purchase-orders/P-404/csv/"), 404, "not-found")


def test_plans_are_for_those_who_see_costs(short, maker, viewer):
    plan = short.made("buy-plans/", {})
    (order,) = short.post(f"buy-plans/{plan['code']}/order/").json()
    code = order["code"]
    closed = [
        lambda who: who.get("buy-plans/"),
        lambda who: who.get(f"buy-plans/{plan['code']}/"),
        lambda who: who.post("buy-plans/", {}),
        lambda who: who.post(f"buy-plans/{plan['code']}/order/"),
        lambda who: who.post(f"purchase-orders/{code}/send/"),
        lambda who: who.get(f"purchase-orders/{code}/pdf/"),
        lambda who: who.get(f"purchase-orders/{code}/csv/"),
    ]
    with nothing_changes():
        for ask in closed:
            for who in (maker, viewer):
                problem_in(ask(who), 403, "not-allowed")
    assert Caller("viewer", see_costs=True).get("buy-plans/").status_code == 200
    assert short.post(f"purchase-orders/{code}/send/", {"mail": False}).status_code == 200
    body = {"received_on": "2026-03-20", "lines": [{"position": 1, "packs": 1}]}
    with nothing_changes():
        problem_in(viewer.post(f"purchase-orders/{code}/receive/", body), 403, "not-allowed")
    came = maker.post(f"purchase-orders/{code}/receive/", body).json()["lines"][0]
    assert not {"price", "billed", "price_difference"} & set(came)


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"days": 0}, "days"),
        ({"rounds": 99}, "rounds"),
        ({"seconds": 3600}, "seconds"),
        ({"budget": "-1"}, "budget"),
        ({"blocked": "hillside"}, "blocked"),
        ({"cheapest": True}, "cheapest"),
    ],
)
def test_what_cannot_be_read_of_a_plan(short, body, field):
    with nothing_changes():
        document = problem_in(short.post("buy-plans/", body), 400, "invalid-fields")
    assert field in {e["field"] for e in document["errors"]}


def test_what_a_plan_and_an_order_refuse(short):
    with nothing_changes():
        refused = short.post("buy-plans/", {"blocked": ["nobody"]})
        assert problem_in(refused, 422, "material-refusal")["errors"][0]["field"] == "blocked"
        problem_in(short.post("buy-plans/BP-404/order/"), 404, "not-found")
    plan = short.made("buy-plans/", {"budget": "50.00"})
    assert plan["orders"] == [] and plan["unmet"][0]["obstacles"][0]["code"] == "budget"
    with nothing_changes():
        problem_in(short.post(f"buy-plans/{plan['code']}/order/"), 409, "state-conflict")
    plan = short.made("buy-plans/", {})
    (order,) = short.post(f"buy-plans/{plan['code']}/order/").json()
    receive = f"purchase-orders/{order['code']}/receive/"
    body = {"received_on": "2026-03-20", "lines": [{"position": 1, "packs": 1}]}
    with nothing_changes():
        problem_in(short.post(f"buy-plans/{plan['code']}/order/"), 409, "state-conflict")
        problem_in(short.post(receive, body), 409, "state-conflict")
    short.post(f"purchase-orders/{order['code']}/send/")
    wrong = {**body, "lines": [{"scan": "hill-olive", "packs": 1}]}
    with nothing_changes():
        document = problem_in(short.post(receive, wrong), 422, "material-refusal")
        problem_in(short.post(f"purchase-orders/{order['code']}/send/"), 409, "state-conflict")
    assert document["errors"][0]["field"] == "lines.0.scan"
