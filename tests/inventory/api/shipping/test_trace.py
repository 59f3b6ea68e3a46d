"""Trace, recall, shipments, counts and places by HTTP: roles, bad input, and what is told."""

import csv
import io

import pytest

from inventory.domain.stock.ledger import Verb
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots, parts_of
from tests.inventory.api.calls import Caller, each, g, nothing_changes, queries_of, usd
from tests.inventory.api.conftest import fill_shelf
from tests.inventory.making import TODAY
from tests.kept import once_a_module
from tests.studio.web.api.test_problems import problem_in

OLIVE = "lots/L-00001/"
SOLD = {"customer": "=Shop (invented)", "reference": "A-1", "shipped_on": "2026-03-03"}
POSTS = {
    OLIVE + "recall/": {"reason": "rancid"},
    "recalls/R-00001/lift/": {"reason": "sound"},
    OLIVE + "move/": {"location": "shelf-1"},
    "shipments/": {**SOLD, "lines": [{"material": "plain-bar", "amount": "2 each"}]},
    "shipments/S-00001/return/": {"reason": "dented"},
    "count-sessions/": {"lots": ["L-00001"]},
    "count-sessions/C-00001/enter/": {"lines": [{"lot": "L-00001", "found": "9 kg"}]},
    "count-sessions/C-00001/post/": {},
    "count-sessions/C-00001/cancel/": {},
    "locations/": {"code": "shelf-2", "name": "Shelf 2", "kind": "shelf"},
}


def sell_bars():
    """Bars B-00001 of L-00001, 24 of them; S-00001 took 10; a count and a place."""
    fill_shelf()
    owner = Caller("owner")
    olive = Lot.objects.get(code="L-00001")
    bar = Material.objects.create(code="plain-bar", name="Plain bar", kind="bar", counted=True)
    origin = Origin(reference="batch:B-00001")
    taken = draw(olive.pk, 10**12, origin=origin)
    new = NewLot(
        material=bar,
        code="B-00001",
        amount=24,
        cost=taken.cost,
        received_on=TODAY,
        made_of=parts_of([taken]),
    )
    open_lots([new], verb=Verb.PRODUCE, origin=origin)
    lines = [{"lot": "B-00001", "amount": "10 each"}]
    owner.made("shipments/", {**SOLD, "lines": lines})
    owner.made("locations/", {"code": "shelf-1", "name": "Shelf 1", "kind": "shelf"})
    owner.made("count-sessions/", {"lots": ["L-00001", "B-00001"]})


sold_once = once_a_module(sell_bars)


@pytest.fixture
def sold(owner):
    """The owner, after `sell_bars`."""
    return owner


def recalled(sold):
    return sold.made(OLIVE + "recall/", {"reason": "smells =rancid"})


def test_a_trace_tells_both_ways(sold):
    told = sold.seen(OLIVE + "trace/")
    into = told["made_into"]
    assert [(lot["lot"], lot["level"]) for lot in into["lots"]] == [("L-00001", 0), ("B-00001", 1)]
    assert into["links"] == [{"from_lot": "L-00001", "into_lot": "B-00001", "amount": g("1000")}]
    assert into["lots"][0]["document"] == "delivery:D-00001"
    assert into["lots"][1]["document"] == "batch:B-00001"
    (customer,) = into["customers"]
    assert customer["customer"] == SOLD["customer"]
    assert customer["shipped"][0]["amount"] == each("10")
    (only,) = told["made_of"]["lots"]
    assert only["supplier"] == "Hillside Oils (invented)"
    up = sold.seen("lots/B-00001/trace/", direction="up")
    assert [lot["lot"] for lot in up["made_of"]["lots"]] == ["B-00001", "L-00001"]
    assert up["made_into"] is None
    problem_in(sold.get(OLIVE + "trace/", direction="sideways"), 400, "invalid-fields")
    problem_in(sold.get("lots/L-404/trace/"), 404, "not-found")


def test_a_recall_by_http(sold):
    told = recalled(sold)
    assert told["recall"]["code"] == "R-00001" and told["recall"]["lifted_at"] is None
    assert {lot["state"] for lot in told["affected"]["lots"]} == {"blocked"}
    assert [one["code"] for one in sold.rows("recalls/", open="true")] == ["R-00001"]
    assert sold.seen("recalls/R-00001/") == told
    problem_in(sold.post(OLIVE + "recall/", {"reason": "again"}), 409, "recall-conflict")
    shipping = POSTS["shipments/"]
    problem_in(sold.post("shipments/", shipping), 409, "not-enough-stock")
    back = sold.made("shipments/S-00001/return/", {"reason": "recalled"})
    assert back["lines"][0]["returns"][0]["amount"] == each("10")
    assert sold.seen("recalls/R-00001/")["affected"]["customers"] == []
    lifted = sold.post("recalls/R-00001/lift/", {"reason": "tested sound"}).json()
    assert {lot["state"] for lot in lifted["affected"]["lots"]} == {"released"}
    assert sold.rows("recalls/", open="true") == []


def test_the_report_opens_in_a_spreadsheet_as_text(sold):
    recalled(sold)
    answer = sold.get("recalls/R-00001/report.csv")
    assert answer.status_code == 200 and answer["Content-Type"].startswith("text/csv")
    assert answer.content.startswith("\N{ZERO WIDTH NO-BREAK SPACE}".encode())
    heads, *rows = csv.reader(io.StringIO(answer.content.decode("utf-8-sig")))
    told = [dict(zip(heads, row, strict=True)) for row in rows]
    assert [(row["lot"], row["customer"], row["customer has"]) for row in told] == [
        ("L-00001", "", ""),
        ("B-00001", "'" + SOLD["customer"], "10"),
    ]
    problem_in(sold.get("recalls/R-404/report.csv"), 404, "not-found")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_report_is_set_on_paper(sold, paper):
    recalled(sold)
    answer = sold.get("recalls/R-00001/report.pdf", paper=paper)
    assert answer.status_code == 200 and answer.content.startswith(b"%PDF")
    problem_in(sold.get("recalls/R-00001/report.pdf", paper="a9"), 422, "invalid-input")
    problem_in(sold.get("recalls/R-404/report.pdf"), 404, "not-found")


def test_a_shipment_shows_its_cost_to_those_who_may_see_it(sold, maker):
    shipment = sold.seen("shipments/S-00001/")
    assert (shipment["customer"], shipment["reference"]) == (SOLD["customer"], "A-1")
    assert shipment["lines"][0]["cost"] == usd("4.1667")
    assert "cost" not in maker.seen("shipments/S-00001/")["lines"][0]
    for query, found in (
        ({"customer": SOLD["customer"]}, 1),
        ({"lot": "B-00001"}, 1),
        ({"lot": "L-00001"}, 0),
        ({"shipped_from": "2026-03-04"}, 0),
    ):
        assert len(sold.rows("shipments/", **query)) == found
    problem_in(sold.get("shipments/", shipped_from="soon"), 400, "invalid-fields")


def test_a_count_is_blind_until_it_is_counted(sold, maker):
    sheet = sold.seen("count-sessions/C-00001/sheet/")
    assert [line["unit"] for line in sheet["lines"]] == ["g", "each"]
    assert not {"expected", "on_hand"} & set(sheet["lines"][0])
    assert "9000" not in sold.get("count-sessions/C-00001/sheet.csv").content.decode()
    path = "count-sessions/C-00001/"
    assert sold.seen(path + "variance/")["lines"] == []
    finds = [{"lot": "L-00001", "found": "8 kg 500 g"}, {"lot": "B-00001", "found": "1 dozen"}]
    assert sold.post(path + "enter/", {"lines": finds}).status_code == 200
    told = sold.seen(path + "variance/")
    assert [line["difference"] for line in told["lines"]] == [g("-500"), each("-2")]
    assert told["value"] == usd("-5.8333")
    hidden = maker.seen(path + "variance/")
    assert "value" not in hidden and "value" not in hidden["lines"][0]
    sold.post("shipments/", POSTS["shipments/"])
    problem_in(sold.post(path + "post/", {}), 409, "count-session-not-ready")
    moved = {"moved": {"B-00001": "after-count"}}
    assert sold.post(path + "post/", moved).status_code == 200
    assert sold.seen("lots/B-00001/")["on_hand"] == each("10")
    problem_in(sold.post(path + "enter/", {"lines": finds}), 409, "count-session-closed")
    assert [s["code"] for s in sold.rows("count-sessions/", state="posted")] == ["C-00001"]


def test_lots_are_moved_and_found_by_their_place(sold):
    assert sold.post(OLIVE + "move/", {"location": "shelf-1"}).json()["location"] == "shelf-1"
    assert [lot["code"] for lot in sold.rows("lots/", location="shelf-1")] == ["L-00001"]
    problem_in(sold.post(OLIVE + "move/", {"location": "nowhere"}), 404, "not-found")
    opened = sold.made("count-sessions/", {"location": "shelf-1"})
    assert opened["location"] == "shelf-1"
    assert sold.post(OLIVE + "move/", {"location": None}).json()["location"] is None
    assert sold.patch("locations/shelf-1/", {"active": False}).status_code == 200
    problem_in(sold.post(OLIVE + "move/", {"location": "shelf-1"}), 422, "invalid-input")


@pytest.mark.parametrize("path", POSTS)
def test_only_who_keeps_the_stock_may(sold, viewer, maker, path):
    body = POSTS[path]
    if path.startswith("recalls"):
        recalled(sold)
    if path.endswith("/post/"):
        enter = {"lines": [{"lot": lot, "found": "9 each"} for lot in ("B-00001",)]}
        sold.post("count-sessions/C-00001/enter/", enter)
        body = {"leave_uncounted": True}
    with nothing_changes():
        problem_in(viewer.post(path, body), 403, "not-allowed")
        problem_in(Caller(None).post(path, body), 403, "not-allowed")
        if path != "locations/":
            problem_in(sold.post(path, body, key=None), 400, "idempotency-key-missing")
        problem_in(sold.post(path, {**body, "force": 1}), 400, "invalid-fields")
    assert maker.post(path, body).status_code in (200, 201)


BAD = [
    (OLIVE + "recall/", {}, 400),
    (OLIVE + "recall/", {"reason": " "}, 400),
    (OLIVE + "recall/", {"reason": "x" * 161}, 400),
    (OLIVE + "move/", {}, 400),
    ("shipments/", {**SOLD, "lines": []}, 422),
    ("shipments/", {**SOLD, "customer": "", "lines": []}, 400),
    ("shipments/", {**SOLD, "lines": [{"lot": "B-00001", "amount": "1 kg"}]}, 400),
    ("shipments/", {**SOLD, "lines": [{"lot": "B-00001", "amount": "0 each"}]}, 422),
    ("shipments/", {**SOLD, "lines": [{"lot": "L-00002", "amount": "1 each"}]}, 409),
    ("shipments/", {**SOLD, "lines": [{"lot": "B-404", "amount": "1 each"}]}, 404),
    ("shipments/", {**SOLD, "shipped_on": "tomorrow", "lines": []}, 400),
    ("shipments/S-404/return/", {"reason": "x"}, 404),
    ("shipments/S-00001/return/", {"reason": "x", "lines": []}, 422),
    (
        "shipments/S-00001/return/",
        {"reason": "x", "lines": [{"lot": "B-00001", "amount": "1 each"}] * 2},
        422,
    ),
    (
        "shipments/S-00001/return/",
        {"reason": "x", "lines": [{"lot": "B-00001", "amount": "11 each"}]},
        422,
    ),
    ("count-sessions/", {}, 422),
    ("count-sessions/", {"lots": ["L-404"]}, 404),
    ("count-sessions/", {"lots": "L-00001"}, 400),
    ("count-sessions/", {"location": "shelf-1"}, 422),
    ("count-sessions/C-00001/enter/", {"lines": [{"lot": "L-00001", "found": "9 each"}]}, 422),
    ("count-sessions/C-00001/enter/", {"lines": [{"lot": "L-00001", "found": "much"}]}, 400),
    ("count-sessions/C-00001/post/", {"moved": {"L-00001": "perhaps"}}, 400),
    ("count-sessions/C-00001/post/", {}, 409),
    ("count-sessions/C-404/post/", {}, 404),
    ("locations/", {"code": "x", "name": "X", "kind": "attic"}, 400),
    ("locations/", {"code": "shelf-1", "name": "X", "kind": "shelf"}, 409),
]


@pytest.mark.parametrize(("path", "body", "status"), BAD)
def test_bad_input_changes_nothing(sold, path, body, status):
    with nothing_changes():
        answer = sold.post(path, body)
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"].startswith("application/problem+json")


def test_the_number_of_queries_does_not_grow_with_what_is_reached(sold):
    before = queries_of(sold, OLIVE + "trace/")
    origin = Origin(reference="batch:B-00002")
    last = Lot.objects.get(code="B-00001")
    for _ in range(5):
        taken = draw(last.pk, 1, origin=origin)
        new = NewLot(
            material=last.material, amount=5, cost=0, received_on=TODAY, made_of=parts_of([taken])
        )
        (last,) = open_lots([new], verb=Verb.PRODUCE, origin=origin)
    assert len(sold.seen(OLIVE + "trace/")["made_into"]["lots"]) == 7
    assert queries_of(sold, OLIVE + "trace/") == before
