"""The state of a lot is what its open holds say, and each cause has one way out."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.stock.holds import (
    DECIDED,
    HELD_BY_HAND,
    INHERITED,
    LIFTED_BY,
    LONGEST_REASON,
    RELEASED_BY_HAND,
    TRAVELING,
    WAITING,
    Cause,
    Decision,
    NewHold,
    Outcome,
    Way,
    asked_for,
    check_decision,
    state_of,
    told,
    way_out,
    without_doubles,
)
from inventory.domain.stock.lots import LotState
from studio.foundation.errors import Faults

MADE = date(2026, 3, 2)
causes = st.sets(st.sampled_from(Cause))


@given(causes)
def test_nothing_is_released_waiting_is_quarantine_and_anything_else_blocks(found):
    expected = "released" if not found else "quarantine"
    if found & {Cause.LYE, Cause.LIMIT, Cause.RECALL, Cause.BY_HAND, Cause.TRIAL}:
        expected = "blocked"
    assert state_of(found) == expected


@given(causes, st.sampled_from(Cause))
def test_one_more_hold_never_makes_a_lot_freer(found, more):
    order = ["released", "quarantine", "blocked"]
    assert order.index(state_of(found | {more})) >= order.index(state_of(found))


def test_every_cause_has_one_way_out():
    assert set(LIFTED_BY) == set(Cause)
    assert {Cause.ARRIVAL, Cause.BY_HAND, Cause.TRIAL} == RELEASED_BY_HAND
    assert {Cause.ARRIVAL, Cause.BY_HAND} == HELD_BY_HAND
    assert {Cause.LYE, Cause.LIMIT} == DECIDED
    assert {cause for cause in Cause if LIFTED_BY[cause] is Way.CURE} == {Cause.CURE}
    assert {cause for cause in Cause if LIFTED_BY[cause] is Way.RECALL} == {Cause.RECALL}


def test_what_is_made_of_a_held_lot_is_held_but_for_arrival_cure_and_trial():
    assert {Cause.ARRIVAL, Cause.CURE} == WAITING
    assert set(Cause) - INHERITED == WAITING | {Cause.TRIAL}
    assert {Cause.LYE, Cause.LIMIT, Cause.RECALL} == TRAVELING


@pytest.mark.parametrize(
    ("cause", "reference", "words"),
    [
        (Cause.ARRIVAL, "delivery:D-1", "releases it, with a reason"),
        (Cause.BY_HAND, "", "releases it, with a reason"),
        (Cause.TRIAL, "batch:B-7", "its version is made current"),
        (Cause.TRIAL, "opening:old", "somebody who keeps stock releases it as what is sold"),
        (Cause.CURE, "batch:B-7", "the cure of batch B-7 is finished"),
        (Cause.CURE, "opening:OL-1", "its cure is ended"),
        (Cause.RECALL, "recall:R-2", "recall R-2 is lifted"),
        (Cause.LYE, "batch:B-7", "an owner decides"),
        (Cause.LIMIT, "batch:B-7", "an owner decides"),
    ],
)
def test_the_way_out_is_told(cause, reference, words):
    assert words in way_out(cause, reference)


def test_what_blocks_is_told_before_what_waits_and_nothing_twice():
    holds = [(Cause.CURE, "curing"), (Cause.BY_HAND, "smells"), (Cause.RECALL, "smells")]
    assert told(holds) == "smells; curing"
    assert told([]) == ""


@given(st.lists(st.tuples(st.sampled_from(Cause), st.text(max_size=400)), max_size=9))
def test_reasons_fit_the_row(holds):
    assert len(told(holds)) <= LONGEST_REASON


def test_holds_of_one_document_stand_once_and_people_may_add_theirs():
    recall = NewHold(cause=Cause.RECALL, reason="rancid", reference="recall:R-1")
    other = replace(recall, reference="recall:R-2")
    smells, moldy = (NewHold(cause=Cause.BY_HAND, reason=why) for why in ("smells", "moldy"))
    assert without_doubles([recall, smells, other, recall, moldy, smells]) == [
        recall,
        smells,
        other,
        moldy,
    ]


@pytest.mark.parametrize(
    ("state", "given", "expected"),
    [
        (LotState.RELEASED, {}, []),
        (LotState.RELEASED, {"checked": True}, [Cause.ARRIVAL]),
        (LotState.QUARANTINE, {}, [Cause.ARRIVAL]),
        (LotState.QUARANTINE, {"checked": True}, [Cause.ARRIVAL]),
        (LotState.QUARANTINE, {"cures": True}, [Cause.CURE]),
        (LotState.BLOCKED, {}, [Cause.BY_HAND]),
        (LotState.BLOCKED, {"checked": True}, [Cause.BY_HAND, Cause.ARRIVAL]),
    ],
)
def test_a_state_that_is_asked_for_is_a_hold(state, given, expected):
    holds = asked_for(state, "why", reference="delivery:D-1", **given)
    assert [each.cause for each in holds] == expected
    assert state is LotState.RELEASED or state_of({each.cause for each in holds}) is state
    assert all(each.reason and each.reference == "delivery:D-1" for each in holds)


def found(cause=Cause.LYE, **values):
    decision = Decision(outcome=Outcome.MEASURED, reason="", on=MADE + timedelta(days=30))
    faults = Faults()
    check_decision(faults, replace(decision, **values), cause=cause, made_on=MADE)
    return [fault.field for fault in faults.found]


def test_a_measurement_has_a_value_and_a_day_since_the_soap_was_made():
    """Free caustic alkali of soap by ISO 456; the share is of the mass, as NaOH."""
    whole = {"free_alkali": Decimal("0.0004"), "measured_on": MADE}
    assert found(**whole) == []
    assert found() == ["free_alkali", "measured_on"]
    assert found(**{**whole, "free_alkali": Decimal("-0.0001")}) == ["free_alkali"]
    assert found(**{**whole, "free_alkali": Decimal("1.0001")}) == ["free_alkali"]
    # IS 2888 and EAS 186 (both from memory): toilet soap, at most 0.05 % as NaOH.
    assert found(**{**whole, "free_alkali": Decimal("0.0005")}) == []
    for most in ("0.000501", "0.05", "0.4"):
        assert found(**{**whole, "free_alkali": Decimal(most)}) == ["free_alkali"]
    for day in (MADE - timedelta(days=1), MADE + timedelta(days=31)):
        assert found(**{**whole, "measured_on": day}) == ["measured_on"]
    assert found(Cause.LIMIT, **whole) == ["outcome"]
    assert found(**whole, outcome=Outcome.SAFE) == ["free_alkali"]
    assert found(outcome=Outcome.SAFE) == []
