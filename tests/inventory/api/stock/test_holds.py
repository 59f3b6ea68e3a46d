"""Holds through the API: all of them told, each lifted by its own way and its own role."""

import pytest

from inventory.domain.stock.holds import Cause, NewHold
from inventory.models.stock.lots import Lot
from inventory.services.stock.holds import hold
from tests.inventory.api.calls import nothing_changes
from tests.inventory.api.conftest import fill_shelf
from tests.inventory.making import TODAY
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
