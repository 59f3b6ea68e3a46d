"""What is to be expected of each material, and the alerts about what runs low."""

import pytest

from tests.inventory.api.calls import each, g, nothing_changes
from tests.inventory.api.conftest import fill_shelf
from tests.inventory.api.stock.test_lots import hold
from tests.kept import once_a_module
from tests.studio.web.api.test_problems import problem_in

shelf_once = once_a_module(fill_shelf)


def codes(caller, **query):
    return [row["material"] for row in caller.rows("stock/", **query)]


def test_a_position_adds_up(shelf):
    shelf.patch("materials/olive-oil/", {"reorder_point": "8 kg", "reorder_to": "20 kg"})
    hold("L-00001", 3 * 10**12)
    body = {"supplier": "hillside", "ordered_on": "2026-03-02"}
    shelf.made("purchase-orders/", {**body, "lines": [{"offer": "hill-olive", "packs": 1}]})
    row = shelf.seen("stock/olive-oil/")
    assert row == shelf.seen("materials/olive-oil/stock/")
    assert (row["on_hand"], row["reserved"], row["available"]) == (
        g("10000"),
        g("3000"),
        g("7000"),
    )
    assert (row["on_order"], row["projected"]) == (g("3448.510135224"), g("10448.510135224"))
    assert (row["reorder_point"], row["low"], row["reason"]) == (g("8000"), False, "")


def test_only_what_is_usable_counts_as_on_hand(shelf):
    shelf.post("lots/L-00001/quarantine/")
    shelf.post("lots/L-00003/block/", {"reason": "cracked"})
    olive, egg, _ = shelf.rows("stock/")[1], shelf.rows("stock/")[0], None
    assert (olive["on_hand"], olive["quarantine"]) == (g("0"), g("10000"))
    assert (egg["on_hand"], egg["unusable"]) == (each("0"), each("24"))


def test_what_runs_low_is_found_and_paged(shelf):
    for code in ("egg", "shea-butter"):
        amount = "30 each" if code == "egg" else "6 kg"
        shelf.patch(f"materials/{code}/", {"reorder_point": amount})
    assert codes(shelf) == ["egg", "olive-oil", "shea-butter"]
    assert codes(shelf, low="true") == ["egg", "shea-butter"]
    assert codes(shelf, low="false") == ["olive-oil"]
    assert codes(shelf, low="true", kind="fat") == ["shea-butter"]
    page = shelf.seen("stock/", low="true", page_size=1)
    rest = shelf.client.get(page["next"]).json()
    assert [r["material"] for r in page["results"] + rest["results"]] == ["egg", "shea-butter"]


@pytest.mark.parametrize("query", [{"low": "yes"}, {"kind": "oil"}, {"projected": "1"}])
def test_questions_that_cannot_be_read(shelf, query):
    assert shelf.get("stock/", **query).json()["errors"][0]["field"] in query


def test_alerts_open_follow_and_close(shelf, maker, settings):
    settings.STUDIO_COUNT_DAYS = 0
    shelf.patch("materials/egg/", {"reorder_point": "30 each"})
    assert maker.post("alerts/evaluate/").json() == {"opened": 1, "updated": 0, "closed": 0}
    (alert,) = shelf.rows("alerts/")
    assert (alert["material"], alert["kind"]) == ("egg", "low-stock")
    assert alert["figures"]["projected"] == each("24")
    assert "below the reorder point of 30" in alert["reason"]
    shelf.patch("materials/egg/", {"reorder_point": "10 each"})
    assert maker.post("alerts/evaluate/").json() == {"opened": 0, "updated": 0, "closed": 1}
    assert shelf.rows("alerts/") == shelf.rows("alerts/", state="open") == []
    (closed,) = shelf.rows("alerts/", state="closed")
    assert closed["closed_at"] and shelf.rows("alerts/", state="all", material="egg") == [closed]
    assert shelf.seen(f"alerts/{alert['id']}/") == closed


def test_looking_for_what_runs_low_is_refused_to_others(shelf, viewer):
    shelf.patch("materials/egg/", {"reorder_point": "30 each"})
    with nothing_changes():
        problem_in(viewer.post("alerts/evaluate/"), 403, "not-allowed")
        problem_in(shelf.post("alerts/evaluate/", {"all": True}), 400, "invalid-fields")
        problem_in(shelf.post("alerts/evaluate/", key=None), 400, "idempotency-key-missing")
    assert shelf.get("alerts/", state="lost").status_code == 400
