"""Why a plan buys what it buys: sentences that its numbers bear out; needs that come late."""

from dataclasses import replace

import pytest
from hypothesis import assume, given, settings

from inventory.domain.buying.plan import Need
from inventory.domain.buying.plan_words import (
    latest_order_date,
    postpone_late,
    reason,
    served_needs,
)
from inventory.domain.buying.solve import solve
from inventory.domain.catalog.packs import PriceBreak
from tests.inventory.domain.buying.buy_problems import (
    material,
    offer,
    on,
    problem,
    small_problems,
    supplier,
)

PIECES = (material(counted=True),)
TWO = (supplier(), supplier("lake", handling=50))


def need(amount=6, due=10, material="olive"):
    return Need(material=material, amount=amount, due=on(due))


def reasons(asked):
    plan = solve(asked, runner_up=False).plan
    return {
        line.offer: reason(asked, plan, order, line, money=lambda value: f"${value}")
        for order, line in plan.lines
    }


@pytest.mark.parametrize(
    ("offers", "bought", "words"),
    [
        ([offer()], "olive-1", "The only offer that comes in time."),
        (
            [offer(), offer("late", price=5, lead_days=11)],
            "olive-1",
            "The only offer that comes in time. late would come too late.",
        ),
        ([offer(), offer("dear", price=11)], "olive-1", "The lowest price for the amount of the 2"),
        (
            [offer(), offer("barrel", pack=20, price=190)],
            "olive-1",
            "barrel is cheaper by the unit, but 1 whole packs of it cost $190, no less than $60.",
        ),
        (
            [offer(), offer("near", supplier="lake", price=8)],
            "olive-1",
            "near alone would be $12 cheaper, but its supplier gets no order here",
        ),
        (
            [offer(breaks=(PriceBreak(6, 9),))],
            "olive-1",
            "6 packs reach the price of $9 instead of $10 a pack.",
        ),
        ([offer(pack=4)], "olive-1", "Whole packs leave 2 each over."),
    ],
)
def test_each_kind_of_reason(offers, bought, words):
    found = reasons(problem(needs=[need()], offers=offers, suppliers=TWO, materials=PIECES))
    assert set(found) == {bought} and words in found[bought]
    assert f"the first by {on(10)}" in found[bought]


@settings(max_examples=40)
@given(small_problems())
def test_each_line_is_needed_until_its_latest_order_date_and_no_longer(asked):
    found = solve(asked, runner_up=False)
    assume(found.plan.orders)
    asked = replace(asked, left_out=found.left_out)
    for order, line in found.plan.lines:
        served = served_needs(asked, found.plan, line)
        latest = latest_order_date(asked, found.plan, line)
        assert reason(asked, found.plan, order, line, money=str)
        assert (latest is None) == (not served)
        # It comes for the first need it serves, or that need would not be met.
        if latest is not None:
            assert latest >= order.order_on
            lead = line.arrives_on - order.order_on
            assert latest == min(need.order_on or need.due - lead for need in served)


@settings(max_examples=40)
@given(small_problems())
def test_late_needs_are_put_off_until_something_can_come_and_no_further(asked):
    later, late = postpone_late(asked)
    assert [need.amount for need in later.needs] == [need.amount for need in asked.needs]
    blocked = asked.rules.blocked
    for was, now in zip(asked.needs, later.needs, strict=True):
        comes = [
            each.arrives(day)
            for each in asked.offers
            for day in asked.order_dates
            if each.material == was.material and each.supplier not in blocked
        ]
        at_once = [
            each.arrives(was.order_on)
            for each in asked.offers
            if was.order_on and each.material == was.material and each.supplier not in blocked
        ]
        if at_once:
            # Ordered on its day it is never late, and the slowest usual offer may bring it.
            assert now.due == max(day for day in at_once if day <= asked.horizon)
            assert not any(each.need is was for each in late)
            continue
        expected = max(was.due, min(comes)) if comes else was.due
        assert now.due == expected
        assert any(each.need is was for each in late) == (now.due > was.due)
    found = solve(later, runner_up=False)
    codes = {o.code for each in found.unmet for o in each.obstacles}
    assert "too-late" not in codes


def test_a_late_need_says_when_it_had_to_be_ordered():
    asked = problem(needs=[need(due=2)], offers=[offer(lead_days=5), offer("slow", lead_days=9)])
    later, (late,) = postpone_late(asked)
    assert (late.offer, late.earliest, late.order_by) == ("olive-1", on(5), on(-3))
    assert (later.needs[0].due, later.horizon) == (on(5), on(5))
    assert solve(later).unmet == ()
    blocked = replace(asked, rules=replace(asked.rules, blocked=frozenset({"hill"})))
    assert postpone_late(blocked) == (blocked, ())
