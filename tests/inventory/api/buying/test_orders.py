"""Purchase orders: placed with one supplier, counted as on order until they end."""

import pytest

from tests.inventory.api.calls import Caller, g, nothing_changes, usd
from tests.inventory.api.conftest import fill_shelf
from tests.kept import once_a_module
from tests.studio.web.api.test_problems import problem_in

shelf_once = once_a_module(fill_shelf)

LINE = {"offer": "hill-shea", "packs": 2}


def order(*lines, **more):
    return {"supplier": "hillside", "ordered_on": "2026-03-20", "lines": list(lines), **more}


def test_a_placed_order_is_on_order(shelf):
    placed = shelf.post("purchase-orders/", order(LINE))
    shown = placed.json()
    assert placed.status_code == 201 and placed["Location"].endswith("/purchase-orders/P-00001/")
    assert (shown["state"], shown["expected_on"]) == ("placed", "2026-03-25")
    (line,) = shown["lines"]
    assert (line["amount"], line["outstanding"]) == (g("4535.9237"), g("4535.9237"))
    assert line["price"] == usd("48.00")
    assert shelf.seen("materials/shea-butter/stock/")["on_order"] == g("4535.9237")


@pytest.mark.parametrize(("verb", "state"), [("close", "closed"), ("cancel", "cancelled")])
def test_an_order_ends_once(shelf, verb, state):
    shelf.made("purchase-orders/", order(LINE))
    assert shelf.post(f"purchase-orders/P-00001/{verb}/").json()["state"] == state
    assert shelf.seen("materials/shea-butter/stock/")["on_order"] == g("0")
    with nothing_changes():
        problem_in(shelf.post("purchase-orders/P-00001/close/"), 409, "state-conflict")
        problem_in(shelf.post("purchase-orders/P-00001/cancel/"), 409, "state-conflict")
        problem_in(shelf.post("purchase-orders/P-404/close/"), 404, "not-found")


def test_what_has_partly_come_is_not_cancelled(shelf):
    shelf.made("purchase-orders/", order(LINE))
    line = {"offer": "hill-shea", "order_line": {"order": "P-00001", "position": 1}}
    shelf.made(
        "deliveries/", {"supplier": "hillside", "received_on": "2026-03-25", "lines": [line]}
    )
    with nothing_changes():
        problem_in(shelf.post("purchase-orders/P-00001/cancel/"), 409, "state-conflict")


@pytest.mark.parametrize(
    ("body", "field"),
    [
        (order(), "lines"),
        (order({"offer": "harbor-egg", "packs": 1}), "lines.0.offer"),
        (order({"offer": "nothing", "packs": 1}), "lines.0.offer"),
        (order(LINE, LINE), "lines.1.offer"),
        (order({"offer": "hill-shea", "packs": 10**7}), "lines.0.packs"),
        (order({"offer": "hill-shea", "packs": 10**18}), "lines.0.packs"),
        (order(LINE, supplier="nobody"), "supplier"),
        (order(LINE, expected_on="2026-03-01"), "expected_on"),
        (order(LINE, ordered_on="9999-12-31"), "ordered_on"),
    ],
)
def test_what_an_order_cannot_be(shelf, body, field):
    with nothing_changes():
        document = problem_in(shelf.post("purchase-orders/", body), 422, "material-refusal")
    assert field in {e["field"] for e in document["errors"]}


@pytest.mark.parametrize(
    ("body", "field"),
    [
        (order(LINE, state="closed"), "state"),
        (order({**LINE, "packs": -1}), "lines.0.packs"),
        (order({**LINE, "packs": 1.5}), "lines.0.packs"),
        (order({**LINE, "price": "-1"}), "lines.0.price"),
        (order({**LINE, "material": "egg"}), "lines.0.material"),
        (order(LINE, ordered_on="soon"), "ordered_on"),
        ({}, "supplier"),
    ],
)
def test_what_cannot_be_read_of_an_order(shelf, body, field):
    with nothing_changes():
        document = problem_in(shelf.post("purchase-orders/", body), 400, "invalid-fields")
    assert field in {e["field"] for e in document["errors"]}


def test_ordering_agrees_to_prices(shelf, maker):
    with nothing_changes():
        problem_in(maker.post("purchase-orders/", order(LINE)), 403, "not-allowed")
        keyless = shelf.post("purchase-orders/", order(LINE), key=None)
        problem_in(keyless, 400, "idempotency-key-missing")
    Caller("maker", see_costs=True).made("purchase-orders/", order(LINE))
    assert "price" not in maker.seen("purchase-orders/P-00001/")["lines"][0]
    assert maker.post("purchase-orders/P-00001/close/").status_code == 200


def test_filters(shelf):
    shelf.made("purchase-orders/", order(LINE))
    assert len(shelf.rows("purchase-orders/", state="placed", supplier="hillside")) == 1
    assert shelf.rows("purchase-orders/", expected_until="2026-03-24") == []
    assert shelf.get("purchase-orders/", state="lost").status_code == 400
