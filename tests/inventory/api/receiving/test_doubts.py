"""An invoice that came in before, and all the faults of a delivery in one answer."""

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models.receiving.deliveries import Delivery
from inventory.models.stock.lots import Lot
from tests.inventory.api.calls import Caller, nothing_changes
from tests.inventory.api.conftest import fill_shelf
from tests.studio.web.api.test_problems import problem_in

SHEA = {"material": "shea-butter", "written": "1 kg", "price": "12.00"}


@pytest.fixture
def owner(database):
    fill_shelf()
    return Caller("owner")


def today(days=0):
    return str(timezone.localdate() + timedelta(days=days))


def delivery(*lines, **values):
    return {"supplier": "hillside", "received_on": today(), "lines": list(lines), **values}


def told(document):
    return {(fault["field"], fault["code"]) for fault in document["errors"]}


def test_the_same_invoice_of_a_supplier_comes_in_once_unless_that_is_confirmed(owner):
    first = owner.made("deliveries/", delivery(SHEA, invoice="I-77"))
    for written in ("I-77", " i-77 "):
        with nothing_changes():
            again = owner.post("deliveries/", delivery(SHEA, invoice=written))
            document = problem_in(again, 422, "material-refusal")
        assert told(document) == {("invoice", "invoice-again")}
        assert document["errors"][0]["delivery"] == first["code"]
        assert first["code"] in document["detail"] and today() in document["detail"]
    confirmed = delivery(SHEA, invoice="I-77", confirm=["invoice-again"])
    assert owner.made("deliveries/", confirmed)["invoice"] == "I-77"
    assert owner.made("deliveries/", delivery(SHEA, invoice="I-77", supplier="harbor"))
    for _ in range(2):
        assert owner.made("deliveries/", delivery(SHEA)), "without a number nothing is compared"
    refused = owner.post("deliveries/", delivery(SHEA, confirm=["anything"]))
    assert ("confirm.0", "invalid_choice") in told(problem_in(refused, 400, "invalid-fields"))


def test_the_same_invoice_against_an_order_is_asked_about_too(owner):
    lines = [{"offer": "hill-shea", "packs": 4, "price": "96"}]
    order = {"supplier": "hillside", "ordered_on": today(), "lines": lines}
    code = owner.made("purchase-orders/", order)["code"]
    part = {"received_on": today(), "invoice": "P-9", "lines": [{"position": 1, "packs": 2}]}
    assert owner.post(f"purchase-orders/{code}/receive/", part).status_code == 200
    with nothing_changes():
        again = owner.post(f"purchase-orders/{code}/receive/", part)
        assert ("invoice", "invoice-again") in told(problem_in(again, 422, "material-refusal"))
    rest = {**part, "confirm": ["invoice-again"]}
    assert owner.post(f"purchase-orders/{code}/receive/", rest).json()["state"] == "closed"


FAULTY = (
    {"material": "shea-butter", "written": "12 each", "price": "5"},
    {"material": "no-such-oil", "written": "1 kg", "price": "5"},
    {"material": "shea-butter", "written": "1 gal", "price": "5"},
    {**SHEA, "lot_code": "L-00009"},
    {**SHEA, "lot_code": "own"},
    {**SHEA, "lot_code": "own", "best_before": today(-9)},
    {"material": "egg", "written": "1 kg", "price": "5"},
)
FAULTS = {
    ("supplier", "not-found"),
    ("received_on", "day-to-come"),
    ("lines.0.written", "wrong-dimension"),
    ("lines.1.material", "not-found"),
    ("lines.2.written", "no-density"),
    ("lines.3.lot_code", "code-given-out"),
    ("lines.5.best_before", "best-before-passed"),
    ("lines.5.lot_code", "code-twice"),
    ("lines.6.written", "wrong-dimension"),
    ("charges.0.amount", "charge-below-zero"),
}
FREIGHT = {"kind": "freight", "amount": "-3", "basis": "weight"}


def test_all_that_is_wrong_with_a_delivery_is_told_at_once(owner):
    body = delivery(*FAULTY, supplier="nobody", received_on=today(3), charges=[FREIGHT])
    with nothing_changes():
        document = problem_in(owner.post("deliveries/", body), 422, "material-refusal")
    assert told(document) == FAULTS


def test_what_cannot_be_read_hides_nothing_else(owner):
    lines = [
        *FAULTY,
        {**SHEA, "written": "1 furlong"},
        {**SHEA, "price": "-5"},
        {**SHEA, "packs": 0},
    ]
    body = delivery(*lines, supplier="nobody", received_on=today(3), charges=[FREIGHT])
    with nothing_changes():
        document = problem_in(owner.post("deliveries/", body), 400, "invalid-fields")
    unread = {
        ("lines.7.written", "unknown-unit"),
        ("lines.8.price", "negative"),
        ("lines.9.packs", "min_value"),
    }
    assert told(document) == FAULTS | unread


def test_what_is_missing_is_no_second_fault(owner):
    line = {**SHEA, "lot_code": "L-00001"}
    charges = [{"kind": "discount", "amount": "-900"}, {"amount": "5"}]
    body = {"lines": [line, {"offer": 5, "packs": 1}], "charges": charges}
    document = problem_in(owner.post("deliveries/", body), 400, "invalid-fields")
    assert told(document) >= {
        ("supplier", "required"),
        ("received_on", "required"),
        ("charges.1.kind", "required"),
        ("lines.0.lot_code", "code-given-out"),
    }
    # The goods' worth is not known while a line is not read, and who sent them neither.
    assert not {"charges", "lines"} & {field for field, _ in told(document)}
    assert ("supplier", "not-found") not in told(document)


def test_freight_by_weight_is_judged_beside_prices(owner):
    lines = [
        {"material": "egg", "written": "1 dozen", "price": "5"},
        {"material": "shea-butter", "written": "1 kg"},
    ]
    charges = [{"kind": "freight", "amount": "4", "basis": "weight"}]
    refused = owner.post("deliveries/", delivery(*lines, charges=charges))
    assert told(problem_in(refused, 422, "material-refusal")) == {
        ("lines.0.weight", "weight-missing"),
        ("lines.1.price", "price-missing"),
    }


def test_an_order_tells_its_delivery_s_faults_with_its_own(owner):
    lines = [{"offer": "hill-shea", "packs": 4, "price": "96"}]
    order = {"supplier": "hillside", "ordered_on": today(), "lines": lines}
    code = owner.made("purchase-orders/", order)["code"]
    came = [
        {"position": 7, "packs": 1, "lot_code": "L-00009"},
        {"position": 1, "packs": 1, "best_before": today(-9)},
    ]
    body = {"received_on": today(2), "lines": came}
    with nothing_changes():
        refused = owner.post(f"purchase-orders/{code}/receive/", body)
        document = problem_in(refused, 422, "material-refusal")
        unread = {**body, "lines": [*came, {"position": 1, "packs": "many"}]}
        both = owner.post(f"purchase-orders/{code}/receive/", unread)
        more = problem_in(both, 400, "invalid-fields")
    faults = {
        ("lines.0.position", "not-found"),
        ("lines.0.lot_code", "code-given-out"),
        ("lines.1.best_before", "best-before-passed"),
        ("received_on", "day-to-come"),
    }
    assert told(document) == faults
    assert told(more) == faults | {("lines.2.packs", "invalid")}
    assert Delivery.objects.count() == 1 and Lot.objects.count() == 3
