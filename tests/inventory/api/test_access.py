"""Who may change what: makers keep the stock, viewers look, strangers do neither."""

import pytest
from rest_framework.test import APIClient

from tests.inventory.api.calls import API, Caller, nothing_changes
from tests.inventory.api.conftest import EGGS, HILLSIDE, OFFERS, fill_shelf
from tests.inventory.api.stock.test_lots import ACTIONS, HELD, hold
from tests.kept import once_a_module
from tests.studio.web.api.test_problems import problem_in

shelf_once = once_a_module(fill_shelf)

LINE = {"material": "shea-butter", "written": "1 kg", "price": "9"}
POSTS = [
    ("suppliers/", {**HILLSIDE, "code": "new"}),
    ("materials/", {**EGGS, "code": "new"}),
    ("offers/", {**OFFERS[0], "code": "new"}),
    ("deliveries/", {"supplier": "hillside", "received_on": "2026-04-01", "lines": [LINE]}),
    ("purchase-orders/", {"supplier": "hillside", "ordered_on": "2026-04-01", "lines": []}),
    ("purchase-orders/P-00001/close/", {}),
    ("purchase-orders/P-00001/cancel/", {}),
    ("reservations/1/release/", {}),
    ("alerts/evaluate/", {}),
    *((f"lots/L-00001/{verb}/", body) for verb, body in ACTIONS.items()),
]
CHANGED = ["suppliers/hillside/", "materials/olive-oil/", "offers/hill-olive/"]


@pytest.mark.parametrize(("path", "body"), POSTS)
def test_only_who_keeps_the_stock_changes_it(shelf, viewer, path, body):
    hold("L-00001", 10**12)
    stranger = APIClient()
    with nothing_changes():
        problem_in(viewer.post(path, body), 403, "not-allowed")
        problem_in(Caller(None).post(path, body), 403, "not-allowed")
        problem_in(Caller("viewer", see_costs=True).post(path, body), 403, "not-allowed")
        answer = stranger.post(API + path, body, headers={"Idempotency-Key": "x"})
        problem_in(answer, 401, "not-signed-in")


@pytest.mark.parametrize("path", CHANGED)
def test_only_who_keeps_the_stock_edits(shelf, viewer, path):
    with nothing_changes():
        for change in (viewer.patch, viewer.put, Caller(None).patch):
            problem_in(change(path, {"active": False}), 403, "not-allowed")
        answer = APIClient().patch(API + path, {"active": False}, headers={"If-Match": "*"})
        problem_in(answer, 401, "not-signed-in")


def test_a_maker_keeps_the_stock(shelf, maker):
    for path in CHANGED:
        assert maker.patch(path, {"active": False}).status_code == 200
    for verb, body in ACTIONS.items():
        if verb in HELD:
            continue  # nothing holds it like that; who may is asked in test_holds
        assert maker.post(f"lots/L-00001/{verb}/", body).status_code in (200, 201), verb
    held = hold("L-00003", 4).reservation
    assert maker.post(f"reservations/{held.pk}/release/").status_code == 200
    assert "cost" not in maker.seen("lots/L-00001/")


def test_refusals_tell_no_costs(shelf, maker):
    """What a maker is told of a refused delivery or write-off names no price."""
    body = {"supplier": "hillside", "received_on": "2026-04-01"}
    refused = maker.post("deliveries/", {**body, "lines": [{"offer": "hill-olive", "packs": 0}]})
    spoiled = maker.post("lots/L-00001/spoil/", {"amount": "11 kg", "reason": "x"})
    for answer in (refused, spoiled):
        assert answer.status_code >= 400
        assert "24" not in answer.content.decode() and "USD" not in answer.content.decode()
