"""Orders by hand: what is held and made, picked, shipped, taken back, called off, and by whom."""

from uuid import uuid4

import pytest
from django.urls import reverse

from costing.models.orders.sales import SalesOrder
from recipes.models.bench.batches import Batch
from tests.costing.pages.quotes.test_quotes import page, signed_in
from tests.costing.sales_making import make_shop
from tests.costing.services.quotes.test_quotes import a_shop
from tests.read_pages import read
from tests.recipes.making import stock

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(db):
    return make_shop()


def sent(client, order, what, **values):
    values.setdefault("once", uuid4().hex)
    return client.post(f"/orders/{order.code}/{what}/", values)


def words(answer):
    return read(answer)


def test_an_order_says_what_is_held_and_what_is_missing(shop):
    shop.cured(30)
    order = shop.order(48)
    shown = page(signed_in(), f"/orders/{order.code}/")
    assert "<strong>30 of 48 bars</strong> are held" in shown
    assert "<strong>18 are missing</strong>" in shown and "$240.00" in shown
    assert reverse("sales-order-picks-pdf", args=[order.code]) not in shown
    picks = page(signed_in("maker"), f"/orders/{order.code}/picks/")
    assert "<strong>30 bars</strong> into <strong>3 cartons</strong>" in picks
    assert "pick-list.pdf?paper=letter" in picks and "18 more are not held" in picks


def test_what_is_missing_is_planned_and_linked(shop):
    stock(shop.bench)
    order = shop.order(5)
    client = signed_in("maker")
    assert "Plan what is missing" in page(client, f"/orders/{order.code}/")
    assert sent(client, order, "plan").status_code == 303
    link = order.lines.get().batches.get()
    shown = page(client, f"/orders/{order.code}/")
    assert "5 are being made" in shown and link.batch.code in shown
    assert "Plan what is missing" not in shown


def test_bars_are_held_and_given_back(shop):
    order = shop.order(20)
    shop.cured(12)
    client = signed_in("maker")
    assert sent(client, order, "hold").status_code == 422
    assert sent(client, order, "hold", bars_1="21").status_code == 422
    short = sent(client, order, "hold", bars_1="13")
    assert short.status_code == 422 and 'value="13"' in words(short)
    assert sent(client, order, "hold", bars_1="4").status_code == 303
    assert sent(client, order, "hold-free").status_code == 303
    assert "<strong>12 of 20 bars</strong> are held" in page(client, f"/orders/{order.code}/")
    assert sent(client, order, "give-back", bars_1="13").status_code == 422
    assert sent(client, order, "give-back", bars_1="5").status_code == 303
    assert "<strong>7 of 20 bars</strong> are held" in page(client, f"/orders/{order.code}/")


def test_a_part_leaves_once_and_comes_back(shop):
    shop.cured(30)
    order = shop.order(30)
    client = signed_in("maker")
    address = f"/orders/{order.code}/ship/"
    assert "it cannot be undone" in page(client, address)
    asked = {"bars_1": "12", "shipped_on": str(order.ordered_on), "cartons": "3"}
    refused = sent(client, order, "ship", **asked)
    assert refused.status_code == 422 and "That takes 1 cartons" in words(refused)
    asked |= {"cartons": "", "once": "k"}
    for _ in range(2):
        assert sent(client, order, "ship", **asked).status_code == 303
    order.refresh_from_db()
    assert order.lines.get().shipped == 12 and order.shipments.count() == 1
    form = page(client, f"/orders/{order.code}/back/")
    assert "12 bars" in form
    shipment = order.shipments.get().shipment.code
    back = {
        "sent": f"{shipment}:1", "bars": "13", "reason": "Dented.",
        "returned_on": str(order.ordered_on),
    }  # fmt: skip
    refused = sent(client, order, "back", **back)
    assert refused.status_code == 422 and "still out" in words(refused)
    assert sent(client, order, "back", **back | {"bars": "2"}).status_code == 303
    assert "2 back" in page(client, f"/orders/{order.code}/")


def test_nothing_to_ship_is_told(shop):
    shop.cured(30)
    order = shop.order(30)
    answer = sent(signed_in(), order, "ship", bars_1="0", shipped_on=str(order.ordered_on))
    assert answer.status_code == 422 and "Say what leaves" in words(answer)


def test_the_rest_is_called_off_after_saying_what_happens(shop):
    shop.cured(10)
    order = shop.order(30)
    client = signed_in()
    asked = page(client, f"/orders/{order.code}/end/")
    assert "10 held bars are free" in asked and "cannot be opened again" in asked
    assert sent(client, order, "end", reason="Closed shop.").status_code == 303
    order.refresh_from_db()
    assert order.state == "cancelled"
    shown = page(client, f"/orders/{order.code}/")
    assert "called off" in shown and "Closed shop." in shown and "Ship…" not in shown
    late = sent(client, order, "hold-free")
    assert late.status_code == 422 and "nothing of it changes" in words(late)


def test_makers_ship_and_see_no_money(shop):
    shop.cured(30)
    order = shop.order(30)
    maker = signed_in("maker")
    shown = page(maker, f"/orders/{order.code}/")
    assert "$" not in shown and "Ship…" in shown and "Call off" not in shown
    assert "$" not in page(maker, "/orders/") and "Orders</span>" in page(maker, "/orders/")
    page(maker, f"/orders/{order.code}/end/", 403)
    viewer = signed_in("viewer")
    shown = page(viewer, f"/orders/{order.code}/")
    assert "Ship…" not in shown and "Hold" not in shown
    page(viewer, f"/orders/{order.code}/ship/", 403)
    assert sent(viewer, order, "plan").status_code == 403


def test_a_scanned_pick_list_leads_there(shop):
    order = shop.order(3)
    answer = signed_in("maker").get("/search/", {"q": order.code})
    assert answer.status_code == 302 and answer["Location"] == f"/orders/{order.code}/"


def test_the_list_finds_and_stays_flat(shop, django_assert_max_num_queries):
    client = signed_in()
    assert "Quotes that wait" in page(client, "/orders/")
    shop.cured(5)
    order = shop.order(8)
    SalesOrder.objects.bulk_create(
        SalesOrder(
            code=f"SO-X{n}", customer=shop.customer, ordered_on=order.ordered_on,
            due_on=order.due_on,
        )
        for n in range(300)
    )  # fmt: skip
    with django_assert_max_num_queries(8):
        assert page(client, "/orders/").count("<tr>") == 51
    assert "Corner shop" in page(client, "/orders/", q=order.code)
    assert "No order is like that" in page(client, "/orders/", state="shipped")
    with django_assert_max_num_queries(14):
        page(client, f"/orders/{order.code}/")


def taken_down(client, *lines, **values):
    given = {"customer": "corner", "mode": "parts", "once": uuid4().hex}
    given |= {"lines-TOTAL_FORMS": str(len(lines) + 1), "lines-INITIAL_FORMS": "0"}
    for row, (product, quantity) in enumerate(lines):
        given |= {f"lines-{row}-product": product, f"lines-{row}-quantity": quantity}
    return client.post("/orders/new/", {**given, **values})


def test_an_order_without_a_quote_is_taken_at_the_prices_of_the_list():
    product = a_shop()
    client = signed_in()
    form = page(client, "/orders/new/?customer=corner")
    assert 'value="The Corner Shop (invented)"' in form
    answer = taken_down(client, ("plain olive BAR", "48"), freight="15", reference="PO 7")
    assert answer.status_code == 303, words(answer)
    order = SalesOrder.objects.get()
    line = order.lines.get()
    assert (line.product, line.quantity, line.price) == (product, 48, 180_000)
    assert (order.reference, order.freight) == ("PO 7", 150_000)
    assert answer["Location"] == f"/orders/{order.code}/"
    assert Batch.objects.exists()  # what is missing is planned


def test_an_order_that_cannot_be_is_refused_and_nothing_typed_is_lost():
    a_shop()
    client = signed_in()
    for lines, values, told in (
        ([("snow bar", "3")], {}, "There is no product of that name"),
        ([("plain olive bar", "")], {}, "required"),
        ([], {}, "Say what is ordered"),
        ([("plain olive bar", "24")], {"mode": "all"}, "24"),
        ([("plain olive bar", "24")], {"customer": "nobody"}, "There is no customer of that name"),
    ):
        answer = taken_down(client, *lines, note="typed at length", **values)
        assert answer.status_code == 422 and told in words(answer)
        assert "typed at length" in words(answer)
    assert not SalesOrder.objects.exists()


def test_orders_are_taken_by_those_who_set_prices():
    assert signed_in("maker").get("/orders/new/").status_code == 403
