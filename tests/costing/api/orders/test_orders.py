"""Orders over the API: who may do what, what makers see, and what a shop's books get."""

import csv
import io
from uuid import uuid4

import pytest
from django.utils import timezone

from costing.models.orders.sales import SalesOrder
from costing.services.quotes.drafts import LineDescription, QuoteDescription, draft_quote
from costing.services.quotes.quotes import send_quote
from inventory.models.stock.ledger import StockEntry
from tests.costing.sales_making import UNIT, make_shop
from tests.recipes.making import stock
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import fields_of, problem_in

pytestmark = pytest.mark.django_db
ORDERS = "/api/v1/sales-orders/"


@pytest.fixture
def shop():
    made = make_shop()
    made.packaging(pieces=100, cost=1000)
    made.cured(30, 60 * UNIT, code="old", days=40)
    return made


@pytest.fixture
def owner():
    return client_as("owner")


def post(client, address, body=None):
    return client.post(address, body or {}, headers={"Idempotency-Key": str(uuid4())})


def ordered(client, *quantities, **values):
    lines = [{"product": "plain", "quantity": n} for n in quantities]
    body = {"customer": "corner", "lines": lines, "mode": "parts", "plan": False, **values}
    answer = post(client, ORDERS, body)
    assert answer.status_code == 201, answer.content
    assert answer.headers["Location"].endswith(f"{ORDERS}{answer.json()['code']}/")
    return answer.json()


def done(client, order, verb, body=None, status=200):
    answer = post(client, f"{ORDERS}{order['code']}/{verb}/", body)
    assert answer.status_code == status, answer.content
    return answer.json()


def money_in(shown):
    """Every amount of money anywhere in an answer."""
    if isinstance(shown, list):
        return [each for one in shown for each in money_in(one)]
    if isinstance(shown, dict):
        if "currency" in shown:
            return [shown]
        return [each for one in shown.values() for each in money_in(one)]
    return []


def test_an_order_goes_from_the_list_to_the_invoice(shop, owner):
    order = ordered(owner, 24, 5, freight="7.50", due_on=str(timezone.localdate()))
    line = order["lines"][0]
    assert (line["held"], line["missing"], line["bars_per_carton"]) == (24, 0, 12)
    assert (order["total"]["amount"], line["amount"]["amount"]) == ("152.50", "120.00")
    picks = owner.get(f"{ORDERS}{order['code']}/pick-list/").json()
    assert [(p["lot"], p["bars"], p["cartons"]) for p in picks["picks"]] == [
        ("old", 24, 2), ("old", 5, 1),
    ]  # fmt: skip
    shipped = done(owner, order, "ship", {"lines": [{"line": 1, "bars": 24}]}, 201)
    sale = shipped["shipments"][0]
    assert (sale["cartons"], sale["packing_cost"]["amount"]) == (2, "0.03")
    back = {"shipment": sale["shipment"], "line": 1, "bars": 4, "reason": "=dented"}
    credited = done(owner, order, "return", back, 201)
    credit = credited["shipments"][0]["lines"][0]["credits"][0]
    assert (credit["revenue"]["amount"], credit["cost"]["amount"]) == ("20.00", "8.00")
    rows = invoice(owner, order)
    assert [(r["kind"], r["quantity"], r["gross"]) for r in rows] == [
        ("sale", "24", "120"), ("freight", "1", "7.5"), ("credit", "-4", "-20"),
    ]  # fmt: skip
    assert rows[0]["due_date"] > rows[0]["ship_date"]
    assert done(owner, order, "cancel")["state"] == "shipped"


def invoice(client, order):
    answer = client.get(f"{ORDERS}{order['code']}/invoice.csv")
    assert answer.status_code == 200, answer.content
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


def test_no_cell_of_an_invoice_is_a_formula(shop, owner):
    shop.customer.name = "=HYPERLINK(evil)"
    shop.customer.save()
    order = ordered(owner, 2, reference="+1")
    done(owner, order, "ship", status=201)
    (row,) = invoice(owner, order)
    assert (row["customer"], row["reference"]) == ("'=HYPERLINK(evil)", "'+1")


def test_makers_pick_and_ship_and_see_no_money(shop, owner):
    order = ordered(owner, 12, 6)
    maker = client_as("maker")
    address = f"{ORDERS}{order['code']}/"
    assert money_in(maker.get(address).json()) == []
    assert maker.get(address).json()["lines"][0]["held"] == 12
    shipped = done(maker, order, "ship", {"lines": [{"line": 1, "bars": 12}]}, 201)
    assert money_in(shipped) == [] and shipped["lines"][0]["shipped"] == 12
    code = shipped["shipments"][0]["shipment"]
    back = {"shipment": code, "line": 1, "bars": 1, "reason": "wet"}
    assert money_in(done(maker, order, "return", back, 201)) == []
    done(maker, order, "unreserve")
    assert (
        done(maker, order, "reserve", {"parts": [{"line": 2, "bars": 3}]})["lines"][1]["held"] == 3
    )
    done(maker, order, "plan")
    assert maker.get(f"{address}pick-list/").json()["bars"] == 3
    assert maker.get(f"{address}pick-list.pdf").content.startswith(b"%PDF")
    for forbidden in (
        maker.get(f"{address}invoice.csv"),
        maker.get("/api/v1/profit/"),
        post(maker, f"{address}cancel/"),
        post(maker, ORDERS, {}),
        post(maker, "/api/v1/quotes/Q-1/accept/"),
        post(client_as("viewer"), f"{address}ship/"),
    ):
        assert forbidden.status_code == 403


def test_a_quote_is_accepted_once_for_a_key(shop, owner):
    today = timezone.localdate()
    line = LineDescription(product="plain", quantity=20)
    stock(shop.bench, received_on=today)
    quote = draft_quote(QuoteDescription(customer="corner", lines=[line]), on=today)
    send_quote(quote.code, on=today, mail=False)
    address = f"/api/v1/quotes/{quote.code}/accept/"
    key = {"Idempotency-Key": "one"}
    first = owner.post(address, {"reference": "PO 3"}, headers=key)
    assert first.status_code == 201, first.content
    assert first.json()["quote"] == quote.code and first.json()["lines"][0]["held"] == 20
    again = owner.post(address, {"reference": "PO 3"}, headers=key)
    assert again.content == first.content and SalesOrder.objects.count() == 1
    problem_in(post(owner, "/api/v1/quotes/Q-99/accept/"), 404, "not-found")


def test_what_cannot_be_is_told_by_field_and_changes_nothing(shop, owner):
    order = ordered(owner, 30)
    entries = StockEntry.objects.count()
    cases = (
        ("ship", {"cartons": 9}, 422, "order-refused", {"cartons"}),
        ("ship", {"lines": [{"line": 1, "bars": 31}]}, 422, "order-refused", {"lines.1"}),
        ("ship", {"lines": [{"line": 2, "bars": 1}]}, 404, "not-found", {"lines"}),
        ("ship", {"lines": [{"line": 1, "bars": 1}] * 2}, 422, "invalid-input", {"lines.1.line"}),
        ("reserve", {"parts": [{"line": 1, "bars": 1}]}, 422, "order-refused", {"lines.1"}),
        ("unreserve", {"parts": [{"line": 1, "bars": 31}]}, 422, "order-refused", {"lines.1"}),
        ("ship", {"bars": 3}, 400, "invalid-fields", {"bars"}),
    )
    for verb, body, status, code, fields in cases:
        answer = post(owner, f"{ORDERS}{order['code']}/{verb}/", body)
        problem = problem_in(answer, status, code)
        assert {field for field, _ in fields_of(problem)} == fields, (verb, body)
    assert StockEntry.objects.count() == entries
    short = post(
        owner, ORDERS, {"customer": "corner", "lines": [{"product": "plain", "quantity": 9}]}
    )
    problem_in(short, 409, "not-enough-stock")


def test_orders_are_listed_filtered_and_read_with_a_fixed_number_of_queries(
    shop, owner, django_assert_max_num_queries
):
    codes = [ordered(owner, 2, 1)["code"] for _ in range(6)]
    with django_assert_max_num_queries(12):
        found = owner.get(ORDERS, {"state": "open", "customer": "corner", "product": "plain"})
    assert [each["code"] for each in found.json()["results"]] == codes[::-1]
    assert owner.get(ORDERS, {"state": "shipped"}).json()["results"] == []
    problem_in(owner.get(ORDERS, {"hue": "red"}), 400, "unknown-query")
