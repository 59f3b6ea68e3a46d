"""Deliveries: received once, in supplier units, with landed cost; refused whole or not at all."""

import pytest

from inventory.models.stock.lots import Lot
from tests.inventory.api.calls import each, g, nothing_changes, usd
from tests.inventory.api.conftest import fill_shelf
from tests.kept import once_a_module
from tests.studio.web.api.test_problems import problem_in

shelf_once = once_a_module(fill_shelf)

OLIVE = {"offer": "hill-olive", "packs": 2}
SHEA = {"material": "shea-butter", "written": "5 lb", "price": "30"}


def delivery(*lines, **more):
    return {"supplier": "hillside", "received_on": "2026-04-01", "lines": list(lines), **more}


def test_charges_are_spread_to_the_last_ten_thousandth(shelf):
    """Landed cost: price plus freight and duty less discounts (IAS 2, paragraph 11)."""
    charges = [
        {"kind": "freight", "amount": "10", "basis": "weight"},
        {"kind": "discount", "amount": "-3.90"},
    ]
    shown = shelf.made("deliveries/", delivery(OLIVE, SHEA, charges=charges))
    olive, shea = shown["lines"]
    assert (olive["price"], shea["price"]) == (usd("48.00"), usd("30.00"))
    # by value -3.90 x 48/78 = -2.40; by weight 10 x 6897.02 g / 9164.98 g = 7.5254
    assert olive["landed_cost"] == usd("53.1254")
    assert shea["landed_cost"] == usd("30.9746")
    assert shelf.seen(f"lots/{olive['lot']}/")["cost"] == usd("53.1254")
    assert shown["charges"][1] == {
        "kind": "discount",
        "amount": usd("-3.90"),
        "basis": "value",
    }


def test_a_line_becomes_a_lot_with_its_own_values(shelf):
    line = {
        **SHEA,
        "written": {"amount": "2", "unit": "L"},
        "density_g_ml": "0.93",
        "lot_code": "shea-a",
        "supplier_lot": "S-77",
        "sv_mg_koh_g": "181.5",
        "best_before": "2028-01-31",
        "state": "quarantine",
        "state_reason": "waiting for its certificate",
        "packs": 3,
    }
    shown = shelf.made("deliveries/", delivery(line, invoice="I-9"))
    assert shown["lines"][0]["lot"] == "shea-a" and shown["lines"][0]["written"] == "2 L"
    lot = shelf.seen("lots/shea-a/")
    assert lot["on_hand"] == g("5580") and lot["sv_mg_koh_g"] == "181.5"
    assert (lot["state"], lot["supplier"], lot["supplier_lot"]) == (
        "quarantine",
        "hillside",
        "S-77",
    )


def test_the_same_key_receives_once(shelf):
    first = shelf.post("deliveries/", delivery(OLIVE), key="dock-1")
    with nothing_changes():
        again = shelf.post("deliveries/", delivery(OLIVE), key="dock-1")
        other = shelf.post("deliveries/", delivery(SHEA), key="dock-1")
        without = shelf.post("deliveries/", delivery(OLIVE), key=None)
    assert (again.status_code, again.content) == (201, first.content)
    assert again["Location"] == first["Location"]
    problem_in(other, 422, "idempotency-key-reused")
    problem_in(without, 400, "idempotency-key-missing")


def test_an_order_is_filled_and_closes_itself(shelf):
    body = {"supplier": "hillside", "ordered_on": "2026-03-20"}
    order = shelf.made("purchase-orders/", {**body, "lines": [{"offer": "hill-olive", "packs": 3}]})
    at = {"order": order["code"], "position": 1}
    shelf.made("deliveries/", delivery({**OLIVE, "order_line": at}))
    open_order = shelf.seen(f"purchase-orders/{order['code']}/")
    assert open_order["state"] == "placed"
    assert open_order["lines"][0]["outstanding"] == g("3448.510135224")
    shown = shelf.made("deliveries/", delivery({**OLIVE, "packs": 1, "order_line": at}))
    assert shown["lines"][0]["order_line"] == at
    assert shelf.seen(f"purchase-orders/{order['code']}/")["state"] == "closed"


def test_a_maker_receives_without_seeing_prices(shelf, maker):
    shown = maker.made("deliveries/", delivery(OLIVE))
    assert "charges" not in shown
    assert not {"price", "landed_cost"} & set(shown["lines"][0])
    assert Lot.objects.get(code=shown["lines"][0]["lot"]).cost == 480_000
    with nothing_changes():
        priced = maker.post("deliveries/", delivery(SHEA, charges=[]))
        document = problem_in(priced, 400, "invalid-fields")
        problem_in(
            maker.post("deliveries/", delivery({"material": "shea-butter", "written": "1 kg"})),
            422,
            "material-refusal",
        )
    assert {e["field"] for e in document["errors"]} == {"charges", "lines.0.price"}


BAD_LINES = [
    ({**SHEA, "written": "5 mL"}, "written", "no-density"),
    ({**SHEA, "written": "2 each"}, "written", "wrong-dimension"),
    ({**SHEA, "written": "0 kg"}, "written", "nothing"),
    ({**SHEA, "written": "9000000 kg", "packs": 2}, "written", "too-large"),
    ({**SHEA, "packs": 10**15}, "written", "packs-out-of-range"),
    ({**SHEA, "material": "egg"}, "written", "wrong-dimension"),
    ({**SHEA, "material": "tallow"}, "material", "not-found"),
    ({**SHEA, "offer": "hill-olive"}, "material", "other-material"),
    ({"written": "5 lb", "price": "1"}, "material", "nothing-named"),
    ({"offer": "harbor-egg"}, "offer", "other-supplier"),
    ({"offer": "nothing"}, "offer", "not-found"),
    ({"material": "shea-butter", "written": "5 lb"}, "price", "price-missing"),
    ({**SHEA, "best_before": "2026-03-01"}, "best_before", "best-before-passed"),
    ({**SHEA, "density_g_ml": "930"}, "density_g_ml", "out-of-range"),
    ({**SHEA, "purity": "97"}, "purity", "out-of-range"),
    ({**SHEA, "lot_code": "L-00001"}, "lot_code", "code-taken"),
    ({**SHEA, "lot_code": "L-9"}, "lot_code", "code-given-out"),
    ({**SHEA, "lot_code": "no spaces"}, "lot_code", "invalid"),
    ({**SHEA, "order_line": {"order": "P-9", "position": 1}}, "order_line", "not-found"),
]


@pytest.mark.parametrize(("line", "field", "code"), BAD_LINES)
def test_one_bad_line_refuses_the_whole_delivery(shelf, line, field, code):
    with nothing_changes():
        answer = shelf.post("deliveries/", delivery(OLIVE, line))
    document = problem_in(answer, 422, "material-refusal")
    assert (f"lines.1.{field}", code) in {(e["field"], e["code"]) for e in document["errors"]}


def test_what_cannot_be_read_is_told_together(shelf):
    with nothing_changes():
        answer = shelf.post(
            "deliveries/",
            delivery({**SHEA, "written": "3,5 kg"}, {**SHEA, "price": "-1"}, received_on="soon"),
        )
    document = problem_in(answer, 400, "invalid-fields")
    assert {(e["field"], e["code"]) for e in document["errors"]} >= {
        ("lines.0.written", "comma"),
        ("lines.1.price", "negative"),
    }
    assert "received_on" in {e["field"] for e in document["errors"]}


UNREADABLE = [
    (delivery({**SHEA, "written": "3,5 kg"}), "lines.0.written"),
    (delivery({**SHEA, "written": "-5 kg"}), "lines.0.written"),
    (delivery({**SHEA, "written": "99999999999 kg"}), "lines.0.written"),
    (delivery(SHEA, suplier="x"), "suplier"),
    (delivery({**SHEA, "amount": "5 kg"}), "lines.0.amount"),
    (delivery({**SHEA, "packs": 0}), "lines.0.packs"),
    (delivery({**SHEA, "packs": -1}), "lines.0.packs"),
    (delivery({**SHEA, "price": "-1"}), "lines.0.price"),
    (delivery({**SHEA, "price": "1" * 30}), "lines.0.price"),
    (delivery({**SHEA, "written": ["5 kg"]}), "lines.0.written"),
    (delivery({**SHEA, "state": "open"}), "lines.0.state"),
    (delivery({**SHEA, "order_line": "P-1"}), "lines.0.order_line"),
    (delivery({**SHEA, "weight": "1 L"}), "lines.0.weight"),
    (delivery("5 kg"), "lines.0"),
    (delivery(SHEA, received_on="yesterday"), "received_on"),
    (delivery(SHEA, charges=[{"kind": "tip", "amount": "1"}]), "charges.0.kind"),
    (delivery(SHEA, charges=[{"kind": "duty"}]), "charges.0.amount"),
    (delivery(SHEA, charges=[{"kind": "duty", "amount": "1", "basis": "x"}]), "charges.0.basis"),
    ({"supplier": "hillside", "received_on": "2026-04-01", "lines": {}}, "lines"),
    ({}, "lines"),
]


@pytest.mark.parametrize(("body", "field"), UNREADABLE)
def test_what_cannot_be_read_is_named(shelf, body, field):
    with nothing_changes():
        document = problem_in(shelf.post("deliveries/", body), 400, "invalid-fields")
    assert field in {e["field"] for e in document["errors"]}


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"lines": []}, "lines"),
        ({"lines": [SHEA] * 501}, "lines"),
        ({"supplier": "nobody"}, "supplier"),
        ({"charges": [{"kind": "discount", "amount": "1"}]}, "charges.0.amount"),
        ({"charges": [{"kind": "freight", "amount": "-1"}]}, "charges.0.amount"),
        ({"charges": [{"kind": "discount", "amount": "-31"}]}, "charges"),
        ({"charges": [{"kind": "duty", "amount": "9" * 14}] * 20}, "charges"),
    ],
)
def test_what_a_delivery_cannot_be(shelf, more, field):
    with nothing_changes():
        answer = shelf.post("deliveries/", {**delivery(SHEA), **more})
    document = problem_in(answer, 422, "material-refusal")
    assert field in {e["field"] for e in document["errors"]}


def test_a_day_beyond_the_calendar_is_refused(shelf):
    shelf.patch("materials/shea-butter/", {"shelf_life_days": 700})
    with nothing_changes():
        answer = shelf.post("deliveries/", delivery(SHEA, received_on="9999-12-31"))
        problem_in(answer, 422, "material-refusal")


def test_all_reasons_of_all_lines_are_told(shelf):
    bad = delivery({**SHEA, "written": "5 mL"}, {**SHEA, "material": "tallow"}, supplier="nobody")
    document = problem_in(shelf.post("deliveries/", bad), 422, "material-refusal")
    assert {e["field"] for e in document["errors"]} == {
        "supplier",
        "lines.0.written",
        "lines.1.material",
    }


def test_pieces_and_filters(shelf):
    (line,) = [x for x in shelf.seen("deliveries/D-00001/")["lines"] if x["material"] == "egg"]
    assert (line["written"], line["amount"]) == ("2 dozen", each("24"))
    shelf.made("deliveries/", delivery(SHEA, invoice="I-1"))
    codes = [row["code"] for row in shelf.rows("deliveries/", invoice="I-1")]
    assert codes == ["D-00002"]
    assert len(shelf.rows("deliveries/", received_until="2026-03-02")) == 1
    assert shelf.rows("deliveries/", supplier="harbor") == []
