"""Lots: looked at, judged, counted, written off; every change once and never beyond the books."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.domain.stock.holds import Cause, NewHold
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.services.counting.counts import spoil_lot
from inventory.services.stock.holds import hold as hold_for
from inventory.services.stock.ledger import Origin
from inventory.services.stock.reservations import Holding, reserve
from tests.inventory.api.calls import each, g, nothing_changes, usd
from tests.inventory.api.conftest import fill_shelf
from tests.inventory.making import TODAY
from tests.kept import once_a_module
from tests.studio.web.api.test_problems import problem_in

shelf_once = once_a_module(fill_shelf)

OLIVE, SHEA, EGG = "lots/L-00001/", "lots/L-00002/", "lots/L-00003/"
ACTIONS = {
    "hold": {"reason": "smells"},
    "release": {"reason": "looked at"},
    "quarantine": {},
    "block": {"reason": "smells rancid"},
    "count": {"found": "9 kg"},
    "spoil": {"amount": "1 kg", "reason": "spilled"},
    "certificate": {"sv_mg_koh_g": "190"},
    "received-on": {"received_on": "2026-02-27", "reason": "typed wrong"},
    "end-cure": {"reason": "dry"},
    "decide": {"outcome": "disposed", "reason": "burns", "cause": "lye-heavy"},
}
#: What holds a lot, where a verb is about that.
HELD = {
    "release": NewHold(cause=Cause.BY_HAND, reason="the drum leaked"),
    "end-cure": NewHold(cause=Cause.CURE, reason="curing"),
    "decide": NewHold(cause=Cause.LYE, reason="lye-heavy", reference="batch:B-9"),
}


def hold(code, amount):
    """Reserve an amount (stock units) of a lot's material for a batch."""
    lot = Lot.objects.get(code=code)
    return reserve(Holding(needs={lot.material_id: amount}, holder="batch:B-00001", on=TODAY))


def test_a_lot_shows_its_balances(shelf):
    hold("L-00001", 4 * 10**12)
    lot = shelf.seen(OLIVE)
    shown = [lot[name] for name in ("received_amount", "on_hand", "reserved", "available", "cost")]
    assert shown == [g("10000"), g("10000"), g("4000"), g("6000"), usd("100.00")]
    assert shelf.seen(EGG)["on_hand"] == each("24")


def test_holding_and_releasing_a_lot(shelf):
    assert shelf.post(OLIVE + "quarantine/", {}).json()["state"] == "quarantine"
    held = shelf.post(OLIVE + "hold/", {"reason": "rancid"}).json()
    assert (held["state"], held["state_reason"]) == (
        "blocked",
        "rancid; to be checked on arrival",
    )
    assert shelf.post(OLIVE + "block/", {"reason": "dusty"}).json()["state"] == "blocked"
    free = shelf.post(OLIVE + "release/", {"reason": "smelled and looked at"}).json()
    assert (free["state"], free["state_reason"]) == ("released", "")
    assert [each["lifted_reason"] for each in free["holds"]] == ["smelled and looked at"] * 3
    with nothing_changes():
        for verb in ("block/", "hold/"):
            for body in ({}, {"reason": "  "}):
                assert shelf.post(OLIVE + verb, body).status_code in (400, 422)


def test_to_be_checked_as_on_arrival_needs_no_reason_by_either_address(shelf):
    for verb, body in (("hold/", {"cause": "arrival"}), ("quarantine/", {"reason": "  "})):
        held = shelf.post(OLIVE + verb, body).json()
        assert (held["state"], held["state_reason"]) == ("quarantine", "to be checked on arrival")
        shelf.post(OLIVE + "release/", {"reason": "looked at"})
    held = shelf.post(OLIVE + "hold/", {"cause": "arrival", "reason": "no papers"}).json()
    assert (held["state"], held["state_reason"]) == ("quarantine", "no papers")


def test_a_count_brings_the_books_to_the_shelf(shelf):
    shown = shelf.made(OLIVE + "count/", {"found": "9.5 kg", "reason": "month end"})
    assert (shown["expected"], shown["found"]) == (g("10000"), g("9500"))
    lot = shelf.seen(OLIVE)
    assert (lot["on_hand"], lot["cost"]) == (g("9500"), usd("95.00"))
    (entry,) = shelf.rows("entries/", posting=shown["posting"])
    assert (entry["on_hand"], entry["reference"]) == (g("-500"), "count:L-00001")
    assert shelf.rows("counts/", lot="L-00001") == [shown]


def test_volumes_are_weighed_by_the_lots_own_density(shelf):
    shelf.post(OLIVE + "certificate/", {"density_g_ml": "0.92", "density_temperature_c": "20"})
    assert shelf.made(OLIVE + "count/", {"found": "10 L"})["found"] == g("9200")
    shelf.post(OLIVE + "certificate/", {"density_g_ml": None, "density_temperature_c": None})
    assert shelf.made(OLIVE + "count/", {"found": "10 L"})["found"] == g("9110")


def test_what_spoiled_takes_its_cost_along(shelf):
    lot = shelf.post(EGG + "spoil/", {"amount": {"amount": "1/2", "unit": "dozen"}, "reason": "x"})
    assert lot.json()["on_hand"] == each("18") and lot.json()["cost"] == usd("6.00")


def test_certificates_keep_what_they_do_not_name(shelf):
    shelf.post(SHEA + "certificate/", {"sv_mg_koh_g": "181.2", "supplier_lot": "S-1"})
    lot = shelf.post(SHEA + "certificate/", {"best_before": "2027-06-30"}).json()
    assert (lot["sv_mg_koh_g"], lot["supplier_lot"]) == ("181.2", "S-1")
    assert lot["best_before"] == "2027-06-30"
    assert Lot.objects.get(code="L-00002").history.first().history_user is not None


BAD_AMOUNTS = [
    ("3,5 kg", 400),
    ("-1 kg", 400),
    ("99999999999 kg", 400),
    ("10 cm", 400),
    ("", 400),
    (5, 400),
    (None, 400),
    ({"amount": "1"}, 400),
    ({"amount": "1", "unit": "stone"}, 400),
    ({"amount": 1.5, "unit": "kg"}, 400),
    ("5 mL", 422),
    ("2 each", 422),
    ("200000 kg", 422),
]


@pytest.mark.parametrize(("amount", "status"), BAD_AMOUNTS)
@pytest.mark.parametrize(("verb", "field"), [("count", "found"), ("spoil", "amount")])
def test_amounts_that_do_not_fit_are_refused(shelf, verb, field, amount, status):
    with nothing_changes():
        answer = shelf.post(f"{SHEA}{verb}/", {**ACTIONS[verb], field: amount})
    document = problem_in(answer, status, "invalid-fields" if status == 400 else "quantity-refused")
    assert field in {e["field"] for e in document["errors"]}


@pytest.mark.parametrize("amount", ["5 lb", "2.5 each", "1 cup", "2000000000 each"])
def test_what_is_counted_is_counted_whole(shelf, amount):
    with nothing_changes():
        problem_in(shelf.post(EGG + "count/", {"found": amount}), 422, "quantity-refused")


def test_the_books_do_not_go_below_what_is_reserved(shelf):
    hold("L-00001", 4 * 10**12)
    with nothing_changes():
        problem_in(shelf.post(OLIVE + "count/", {"found": "3 kg"}), 409, "ledger-refusal")
        spoiled = shelf.post(OLIVE + "spoil/", {"amount": "7 kg", "reason": "x"})
        document = problem_in(spoiled, 409, "not-enough-stock")
        nothing = shelf.post(OLIVE + "spoil/", {"amount": "0 kg", "reason": "x"})
        problem_in(nothing, 422, "invalid-input")
    (short,) = document["errors"]
    assert (short["available"], short["short"], short["unit"]) == ("6000", "1000", "g")


@pytest.mark.parametrize(
    ("given", "status"),
    [
        ({}, 422),
        ({"density_g_ml": "920"}, 422),
        ({"density_temperature_c": "20"}, 422),
        ({"purity": "97"}, 422),
        ({"best_before": "2026-03-01"}, 422),
        ({"sv_mg_koh_g": "1e9"}, 400),
        ({"on_hand": "5 kg"}, 400),
        ({"cost": "1"}, 400),
        ({"supplier_lot": "x" * 61}, 400),
        ({"best_before": "soon"}, 400),
    ],
)
def test_what_no_certificate_states(shelf, given, status):
    with nothing_changes():
        answer = shelf.post(SHEA + "certificate/", given)
    problem_in(answer, status, "invalid-fields" if status == 400 else "material-refusal")


@pytest.mark.parametrize("verb", ACTIONS)
def test_each_change_needs_its_key_its_role_and_its_lot(shelf, viewer, verb):
    body = ACTIONS[verb]
    if verb in HELD:
        lot = Lot.objects.get(code="L-00001")
        hold_for([lot.pk], HELD[verb], on=TODAY)
    if verb == "decide":
        spoil_lot(lot.pk, lot.on_hand, origin=Origin(reference="spoil:x", note="burns"))
    with nothing_changes():
        problem_in(shelf.post(f"{OLIVE}{verb}/", body, key=None), 400, "idempotency-key-missing")
        problem_in(viewer.post(f"{OLIVE}{verb}/", body), 403, "not-allowed")
        problem_in(shelf.post(f"lots/L-404/{verb}/", body), 404, "not-found")
        unknown = shelf.post(f"{OLIVE}{verb}/", {**body, "force": True})
        assert problem_in(unknown, 400, "invalid-fields")["errors"][0]["field"] == "force"
        too_long = shelf.post(f"{OLIVE}{verb}/", {**body, "reason": "x" * 201, "note": "x" * 2001})
        problem_in(too_long, 400, "invalid-fields")
    first = shelf.post(f"{OLIVE}{verb}/", body, key=f"once-{verb}")
    assert first.status_code in (200, 201)
    with nothing_changes():
        again = shelf.post(f"{OLIVE}{verb}/", body, key=f"once-{verb}")
    assert again.content == first.content and again["Idempotent-Replayed"] == "true"


def test_a_lot_is_not_made_or_edited_by_hand(shelf):
    with nothing_changes():
        for answer in (
            shelf.post("lots/", {"code": "x"}),
            shelf.patch(OLIVE, {"on_hand": "1 kg"}),
            shelf.client.delete("/api/v1/" + OLIVE),
        ):
            problem_in(answer, 405, "method-not-allowed")


def test_filters(shelf):
    shelf.post(SHEA + "certificate/", {"best_before": "2026-05-01"})
    shelf.post(EGG + "spoil/", {"amount": "24 each", "reason": "forgotten"})
    shelf.post(OLIVE + "block/", {"reason": "recall"})
    hold("L-00002", 5 * 10**12)

    def codes(**query):
        return [row["code"] for row in shelf.rows("lots/", **query)]

    assert codes(material="olive-oil") == codes(state="blocked") == ["L-00001"]
    assert codes(has_stock="true") == ["L-00001", "L-00002"]
    assert codes(has_stock="false") == codes(kind="liquid") == ["L-00003"]
    assert codes(has_available="true") == ["L-00001"]
    assert codes(expiring_before="2026-05-02") == ["L-00002"]
    assert codes(expiring_before="2026-05-01") == codes(supplier="harbor") == []


@pytest.mark.parametrize(
    "query",
    [
        {"state": "open"},
        {"has_stock": "maybe"},
        {"expiring_before": "05/01/2026"},
        {"kind": "oil"},
        {"on_hand": "1"},
        {"cost": "1"},
        {"page_size": "0"},
    ],
)
def test_filters_that_cannot_be_read_are_refused(shelf, query):
    answer = shelf.get("lots/", **query)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] in query


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text("0123456789., /-+eEkgmLbozeach\u00bd\u0663x", max_size=24))
def test_no_text_breaks_the_books(shelf, text):
    """Whatever is written as an amount is counted or refused; the books stay provable."""
    answer = shelf.post(EGG + "count/", {"found": text})
    assert answer.status_code in (201, 400, 422), answer.content
    lot = Lot.objects.get(code="L-00003")
    assert lot.on_hand == sum(lot.entries.values_list("on_hand", flat=True)) >= 0
    assert Material.objects.count() == 3
