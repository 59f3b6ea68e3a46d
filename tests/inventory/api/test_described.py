"""The OpenAPI description of the inventory is what its endpoints do."""

import pytest
from drf_spectacular.generators import SchemaGenerator

from inventory.api.urls import router

LOT = ("hold", "release", "quarantine", "block", "end_cure", "decide")
CHANGING = {("lot", name) for name in (*LOT, "count", "spoil", "certificate", "received_on")} | {
    ("lot-trace", "recall"),
    ("lot-move", "move"),
    ("recall", "lift"),
    ("shipment", "create"),
    ("shipment", "take_back"),
    *(("count-session", name) for name in ("create", "enter", "post_all", "cancel")),
    ("delivery", "create"),
    ("purchase-order", "create"),
    ("purchase-order", "close"),
    ("purchase-order", "cancel"),
    ("purchase-order", "send"),
    ("purchase-order", "receive"),
    ("buy-plan", "order"),
    ("reservation", "release"),
    ("policy", "adopt"),
    *(("alert", name) for name in ("evaluate", "rounds", "acknowledge", "snooze")),
    ("webhook-delivery", "resend"),
}


@pytest.fixture(scope="module")
def described():
    return SchemaGenerator(urlconf="studio.urls").get_schema(request=None, public=True)


def headers_of(operation):
    return {p["name"] for p in operation.get("parameters", ()) if p["in"] == "header"}


def test_what_changes_stock_needs_a_key():
    found = {
        (basename, name)
        for _, viewset, basename in router.registry
        for name in dir(viewset)
        if getattr(getattr(viewset, name), "stock_changing", False)
    }
    assert found == CHANGING


def test_every_post_says_which_header_it_needs(described):
    paths = described["paths"]
    plain = {"/api/v1/materials/", "/api/v1/suppliers/", "/api/v1/offers/", "/api/v1/webhooks/"}
    # A plan is found without a transaction held open while the solver computes.
    plain |= {"/api/v1/locations/", "/api/v1/buy-plans/"}
    for path, operations in paths.items():
        if "post" in operations and any(f"/v1/{p}/" in path for p, _, _ in router.registry):
            keyed = "Idempotency-Key" in headers_of(operations["post"])
            assert keyed is (path not in plain), path
    assert headers_of(paths["/api/v1/materials/{code}/"]["patch"]) == {"If-Match"}


def test_yes_and_no_are_described_as_such(described):
    query = described["paths"]["/api/v1/lots/"]["get"]["parameters"]
    (one,) = [p for p in query if p["name"] == "has_stock"]
    assert one["schema"]["type"] == "boolean"


def test_what_may_be_unknown_may_be_null(described):
    stock = described["components"]["schemas"]["Stock"]["properties"]
    assert "null" in str(stock["reorder_point"]) and "null" not in str(stock["on_hand"])
