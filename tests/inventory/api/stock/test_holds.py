"""Holds through the API: all of them told, each lifted by its own way and its own role."""

from datetime import timedelta

import pytest

from inventory.domain.stock.holds import Cause, NewHold
from inventory.models.stock.lots import Lot
from inventory.services.counting.counts import spoil_lot
from inventory.services.stock.holds import hold
from inventory.services.stock.ledger import Origin
from tests.inventory.api.calls import nothing_changes
from tests.inventory.api.conftest import fill_shelf
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.kept import once_a_module
from tests.studio.web.api.test_problems import problem_in

shelf_once = once_a_module(fill_shelf)
OLIVE = "lots/L-00001/"


@pytest.fixture
def unsafe(shelf):
    lot = Lot.objects.get(code="L-00001")
    new = NewHold(cause=Cause.LYE, reason="superfat -2 %", reference="batch:B-7")
    hold([lot.pk], new, on=lot.received_on)
    return shelf


def test_a_hold_tells_who_when_why_and_what_lifts_it(shelf):
    shelf.post(OLIVE + "hold/", {"reason": "smells"})
    (held,) = shelf.seen(OLIVE)["holds"]
    assert (held["cause"], held["reason"], held["open"]) == ("by-hand", "smells", True)
    assert "releases it, with a reason" in held["free_once"]
    assert held["by"] and held["on"] and held["at"] and held["lifted_at"] is None
    shelf.post(OLIVE + "release/", {"reason": "aired"})
    (held,) = shelf.seen(OLIVE)["holds"]
    assert (held["open"], held["free_once"], held["lifted_reason"]) == (False, None, "aired")
    assert held["lifted_by"] == held["by"] and held["lifted_on"]


def test_recalled_and_held_tells_both(shelf):
    recalled = shelf.made(OLIVE + "recall/", {"reason": "rancid"})["recall"]["code"]
    shelf.post(OLIVE + "hold/", {"reason": "smells"})
    lot = shelf.seen(OLIVE)
    assert lot["state"] == "blocked"
    assert [each["cause"] for each in lot["holds"]] == ["recall", "by-hand"]
    assert shelf.post(OLIVE + "release/", {"reason": "aired"}).json()["state"] == "blocked"
    with nothing_changes():
        refused = shelf.post(OLIVE + "release/", {"reason": "aired"})
    document = problem_in(refused, 409, "lot-held")
    assert f"recall {recalled} is lifted" in str(document)
    shelf.post(f"recalls/{recalled}/lift/", {"reason": "sound"})
    assert shelf.seen(OLIVE)["state"] == "released"


def test_what_nothing_holds_is_not_released(shelf):
    with nothing_changes():
        refused = shelf.post(OLIVE + "release/", {"reason": "aired"})
        assert "L-00001 is not held" in str(problem_in(refused, 409, "state-conflict"))


def test_makers_decide_nothing(unsafe, maker):
    body = {"outcome": "disposed", "reason": "burns"}
    with nothing_changes():
        problem_in(maker.post(OLIVE + "decide/", body), 403, "not-allowed")
        problem_in(maker.post(OLIVE + "release/", {"reason": "aired"}), 409, "lot-held")


def test_a_measured_value_is_kept_with_its_day(unsafe):
    day = Lot.objects.get(code="L-00001").received_on.isoformat()
    body = {"outcome": "measured", "reason": "titrated", "free_alkali": "0.04 %"}
    with nothing_changes():
        refused = unsafe.post(OLIVE + "decide/", body)
        assert problem_in(refused, 422, "invalid-input")["errors"][0]["field"] == "measured_on"
        none = {"outcome": "judged-safe", "reason": "a value was wrong"}
        problem_in(unsafe.post(OLIVE + "decide/", none), 409, "lot-held")
        full = {"outcome": "disposed", "reason": "burns"}
        problem_in(unsafe.post(OLIVE + "decide/", full), 409, "state-conflict")
        later = {**body, "measured_on": "2999-01-01"}
        problem_in(unsafe.post(OLIVE + "decide/", later), 422, "invalid-input")
    lot = unsafe.post(OLIVE + "decide/", {**body, "measured_on": day}).json()
    (held,) = lot["holds"]
    assert (lot["state"], held["outcome"]) == ("released", "measured")
    assert (held["free_alkali"], held["measured_on"]) == ("0.0004", day)


@pytest.mark.parametrize("found", ["0.06 %", "5 %", "40 %"])
def test_what_still_burns_is_not_freed_by_its_figure(unsafe, found):
    day = Lot.objects.get(code="L-00001").received_on.isoformat()
    body = {"outcome": "measured", "reason": "x", "free_alkali": found, "measured_on": day}
    with nothing_changes():
        refused = problem_in(unsafe.post(OLIVE + "decide/", body), 422, "invalid-input")
    (error,) = refused["errors"]
    assert error["field"] == "free_alkali" and "Let it cure and measure again" in str(error)


@pytest.mark.parametrize(
    ("verb", "body"),
    [
        ("hold/", {"reason": "smells", "on": "2999-01-01"}),
        ("hold/", {"reason": "smells", "cause": "recall"}),
        ("release/", {"reason": "smells", "on": "yesterday"}),
        ("decide/", {"outcome": "sold", "reason": "x"}),
        ("decide/", {"outcome": "measured", "reason": "x", "free_alkali": "101 %"}),
        ("end-cure/", {"reason": "dry"}),
    ],
)
def test_what_cannot_be_said_changes_nothing(unsafe, verb, body):
    with nothing_changes():
        assert unsafe.post(OLIVE + verb, body).status_code in (400, 409, 422)


def test_bars_that_stood_here_are_freed_by_the_end_of_their_cure(shelf):
    lot = Lot.objects.get(code="L-00001")
    hold([lot.pk], NewHold(cause=Cause.CURE, reason="curing", until=TODAY), on=lot.received_on)
    assert shelf.seen(OLIVE)["state"] == "quarantine"
    assert shelf.post(OLIVE + "end-cure/", {}).json()["state"] == "released"


def test_what_is_counted_back_of_disposed_soap_is_held_again(unsafe):
    unsafe.post(OLIVE + "spoil/", {"amount": "10 kg", "reason": "burns"})
    body = {"outcome": "disposed", "reason": "burns"}
    assert unsafe.post(OLIVE + "decide/", body).json()["state"] == "released"
    unsafe.made(OLIVE + "count/", {"found": "2 kg", "reason": "behind the rack"})
    lot = unsafe.seen(OLIVE)
    assert lot["state"] == "blocked" and "turned up is held again" in lot["state_reason"]
    assert [each["open"] for each in lot["holds"]] == [False, True]


@pytest.fixture
def soap(shelf):
    """Of the oil something was made, of which some is still there."""
    lots = [Lot.objects.get(code="L-00001")]
    for _ in range(2):
        lots.append(make_lot(make_material(), KG, made_of={lots[-1].pk: 1}))
    gone = make_lot(make_material(), KG, made_of={lots[0].pk: 1})
    spoil_lot(gone.pk, KG, origin=Origin(reference="spoil:x", note="spilt"))
    return [lot.code for lot in lots[1:]]


@pytest.mark.parametrize("along", [False, True])
def test_a_hold_tells_what_was_made_of_the_lot_and_still_stands(shelf, soap, along):
    body = {"reason": "smells", "with_made_of": along}
    answer = shelf.post(OLIVE + "hold/", body).json()
    state = "blocked" if along else "released"
    assert [(each["lot"], each["state"]) for each in answer["made_of_it"]] == [
        (code, state) for code in soap
    ]
    assert answer["state"] == "blocked"
    for code in soap:
        assert shelf.seen(f"lots/{code}/")["state"] == state


def test_days_of_lifting_are_refused_as_days(unsafe):
    lot = Lot.objects.get(code="L-00001")
    before = (lot.received_on - timedelta(days=1)).isoformat()
    unsafe.post(OLIVE + "hold/", {"reason": "smells"})
    new = NewHold(cause=Cause.CURE, reason="curing")
    hold([lot.pk], new, on=lot.received_on)
    measured = {"outcome": "measured", "free_alkali": "0.04 %", "measured_on": "2026-03-02"}
    for verb, body in (("release/", {}), ("end-cure/", {}), ("decide/", measured)):
        for day in (before, "0001-01-01"):
            with nothing_changes():
                refused = unsafe.post(OLIVE + verb, {"reason": "x", **body, "on": day})
                errors = problem_in(refused, 422, "day-refused")["errors"]
            assert "on" in {error["field"] for error in errors}
    recall = unsafe.made(OLIVE + "recall/", {"reason": "rancid"})["recall"]["code"]
    # A recall is lifted when it is said so, on no other day.
    refused = unsafe.post(f"recalls/{recall}/lift/", {"reason": "x", "on": before})
    assert refused.status_code == 400
