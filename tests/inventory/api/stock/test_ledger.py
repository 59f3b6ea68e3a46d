"""The books to read: entries, reservations, counts, requirements."""

import pytest

from inventory.models.stock.lots import Lot
from inventory.services.buying.requirements import expect, require
from tests.inventory.api.calls import each, g, nothing_changes, usd
from tests.inventory.api.stock.test_lots import hold
from tests.studio.web.api.test_problems import problem_in

READ_ONLY = (
    "entries/",
    "reservations/",
    "counts/",
    "requirements/",
    "expected-makes/",
    "stock/",
    "alerts/",
)


def test_entries_tell_the_whole_story(shelf):
    held = hold("L-00003", 4).reservation
    shelf.made("lots/L-00003/count/", {"found": "20 each", "reason": "two broke"})
    newest, reserved, received = shelf.rows("entries/", lot="L-00003")
    assert (newest["verb"], newest["on_hand"], newest["cost"]) == (
        "count",
        each("-4"),
        usd("-1.3333"),
    )
    assert (reserved["reserved"], reserved["reservation"]) == (each("4"), held.pk)
    assert received["reference"] == "delivery:D-00001"
    assert newest["by"] == received["by"] and newest["note"] == "two broke"
    assert shelf.seen(f"entries/{newest['id']}/") == newest


def test_entries_by_verb_reference_and_material(shelf):
    assert len(shelf.rows("entries/", verb="receive")) == 3
    assert len(shelf.rows("entries/", reference="delivery:D-00001", material="egg")) == 1
    assert shelf.rows("entries/", reference="delivery:D") == []
    for query in ({"verb": "steal"}, {"posting": "x"}, {"cost": "1"}):
        assert shelf.get("entries/", **query).status_code == 400


def test_a_reservation_is_released_once(shelf):
    held = hold("L-00001", 4 * 10**12).reservation
    address = f"reservations/{held.pk}/"
    assert shelf.seen(address)["lines"] == [
        {
            "lot": "L-00001",
            "material": "olive-oil",
            "amount": g("4000"),
            "remaining": g("4000"),
        }
    ]
    with nothing_changes():
        problem_in(shelf.post(address + "release/", key=None), 400, "idempotency-key-missing")
        unknown = shelf.post(address + "release/", {"lines": []})
        assert problem_in(unknown, 400, "invalid-fields")["errors"][0]["field"] == "lines"
    shown = shelf.post(address + "release/", {"note": "other plans"}).json()
    assert (shown["state"], shown["lines"][0]["remaining"]) == ("released", g("0"))
    assert Lot.objects.get(code="L-00001").reserved == 0
    with nothing_changes():
        problem_in(shelf.post(address + "release/"), 409, "reservation-closed")
        problem_in(shelf.post("reservations/99/release/"), 404, "not-found")


def test_reservations_are_found_by_holder_state_and_lot(shelf):
    hold("L-00001", 10**12)
    assert len(shelf.rows("reservations/", holder="batch:B-00001", state="open")) == 1
    assert len(shelf.rows("reservations/", lot="L-00001")) == 1
    assert shelf.rows("reservations/", lot="L-00002") == []
    assert shelf.get("reservations/", state="lost").status_code == 400


def test_requirements_are_planned_and_projected(shelf):
    lot = Lot.objects.get(code="L-00003")
    require({lot.material_id: 30}, holder="batch:B-00002", due_on=lot.received_on)
    (row,) = shelf.rows("requirements/", material="egg", due_until="2026-03-02")
    assert (row["holder"], row["amount"]) == ("batch:B-00002", each("30"))
    stock = shelf.seen("stock/egg/")
    assert (stock["planned"], stock["projected"]) == (each("30"), each("-6"))
    assert stock["low"] and "6 is missing" in stock["reason"]


def test_what_is_being_made_is_listed_and_projected(shelf):
    lot = Lot.objects.get(code="L-00003")
    before = shelf.seen("stock/egg/")
    expect({lot.material_id: 30}, holder="batch:B-00002", due_on=lot.received_on)
    (row,) = shelf.rows("expected-makes/", material="egg", due_until="2026-03-02")
    assert (row["holder"], row["amount"]) == ("batch:B-00002", each("30"))
    assert shelf.rows("expected-makes/", holder="batch:B-00003") == []
    stock = shelf.seen("stock/egg/")
    assert stock["being_made"] == each("30")
    grown = int(stock["projected"]["amount"]) - int(before["projected"]["amount"])
    assert (grown, stock["available"]) == (30, before["available"])


@pytest.mark.parametrize("path", READ_ONLY)
def test_the_books_are_only_read(shelf, path):
    one = f"{path}egg/" if path == "stock/" else f"{path}1/"
    with nothing_changes():
        for answer in (
            shelf.post(path, {"on_hand": "1 kg"}),
            shelf.put(one, {"on_hand": "1 kg"}),
            shelf.patch(one, {"on_hand": "1 kg"}),
            shelf.client.delete("/api/v1/" + one),
        ):
            problem_in(answer, 405, "method-not-allowed")
