"""The laws of the ledger, for whatever numbers."""

from functools import reduce

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inventory.domain.stock.ledger import (
    RULES,
    Balance,
    Change,
    Verb,
    after,
    breaks_verb,
    broken_laws,
    counting,
    holds,
    taking,
)

most = 10**15


@st.composite
def balances(draw):
    on_hand = draw(st.integers(0, most))
    return Balance(
        on_hand=on_hand,
        reserved=draw(st.integers(0, on_hand)),
        cost=draw(st.integers(0, most)) if on_hand else 0,
    )


changes = st.builds(
    Change,
    st.sampled_from(Verb),
    on_hand=st.integers(-3, 3),
    reserved=st.integers(-3, 3),
    cost=st.integers(-3, 3),
)


def test_every_verb_has_a_rule():
    assert set(RULES) == set(Verb)


@given(balances())
def test_a_sound_balance_breaks_no_law(balance):
    assert holds(balance)
    assert broken_laws(balance) == []


@given(balances(), st.integers(1, most))
def test_each_law_can_be_broken(balance, more):
    on_hand, reserved, cost = balance.on_hand, balance.reserved, balance.cost
    for broken, law in [
        (Balance(on_hand, on_hand + more, cost), "reserved is within what is on hand"),
        (Balance(on_hand, -more, cost), "reserved is not below zero"),
        (Balance(on_hand, reserved, -more), "cost is not below zero"),
        (Balance(0, 0, more), "an empty lot has no cost"),
    ]:
        assert law in broken_laws(broken)
        assert not holds(broken)


@given(st.lists(changes))
def test_a_fold_is_the_sum_of_its_changes(some):
    folded = reduce(after, some, Balance())
    assert folded.on_hand == sum(change.on_hand for change in some)
    assert folded.reserved == sum(change.reserved for change in some)
    assert folded.cost == sum(change.cost for change in some)


@given(changes)
def test_no_verb_leaves_everything_as_it_was(change):
    if not breaks_verb(change):
        assert after(Balance(), change) != Balance()


@given(balances(), st.data())
def test_a_take_follows_its_verb_and_keeps_the_laws(balance, data):
    assume(balance.on_hand)
    amount = data.draw(st.integers(1, balance.on_hand))
    least = max(0, amount - balance.available)
    held = data.draw(st.integers(least, min(amount, balance.reserved)))
    change = taking(Verb.CONSUME, balance, amount, from_reserved=held)
    assert not breaks_verb(change)
    assert holds(after(balance, change))


@given(balances(), st.data())
def test_the_last_take_leaves_no_cost(balance, data):
    assume(balance.on_hand)
    free = Balance(balance.on_hand, 0, balance.cost)
    first = data.draw(st.integers(1, free.on_hand))
    left = after(free, taking(Verb.SPOIL, free, first))
    if left.on_hand:
        left = after(left, taking(Verb.SPOIL, left, left.on_hand))
    assert left == Balance()


@given(balances(), st.integers(0, most))
def test_a_count_brings_the_books_to_what_was_found(balance, more):
    found = balance.reserved + more
    change = counting(balance, found)
    if found == balance.on_hand:
        assert change is None
        return
    assert not breaks_verb(change)
    counted = after(balance, change)
    assert (counted.on_hand, counted.reserved) == (found, balance.reserved)
    assert holds(counted)


@given(balances(), st.integers(1, most))
def test_a_find_never_costs_more_than_the_lot_does(balance, gain):
    change = counting(balance, balance.on_hand + gain)
    assert change.cost * balance.on_hand <= balance.cost * gain


@given(st.integers(1, most))
def test_what_turns_up_in_an_empty_lot_costs_nothing(found):
    """All of its cost went with what was taken: what is found was paid for already."""
    change = counting(Balance(), found)
    assert change == Change(Verb.COUNT, on_hand=found, cost=0)
    assert after(Balance(), change) == Balance(on_hand=found)


@pytest.mark.parametrize(
    ("found", "cost"), [(4, 1000), (6, 1500), (5, 1250), (3, 750), (1, 250), (0, 0)]
)
def test_a_count_moves_cost_by_the_lots_own_unit_cost(found, cost):
    # 4 pieces at 250 each; a third of 1000 is rounded down, so that a find never makes it dearer.
    lot = Balance(on_hand=4, cost=1000)
    change = counting(lot, found)
    assert (lot if change is None else after(lot, change)).cost == cost
    assert counting(Balance(on_hand=3, cost=1000), 5).cost == 666


def test_a_take_bears_its_part_and_frees_what_was_held_for_it():
    lot = Balance(on_hand=8, reserved=5, cost=1001)
    change = taking(Verb.SHIP, lot, 2, from_reserved=2)
    assert change == Change(Verb.SHIP, on_hand=-2, reserved=-2, cost=-250)
    assert after(lot, change) == Balance(on_hand=6, reserved=3, cost=751)
    assert lot.available == 3


@pytest.mark.parametrize(
    ("changes", "allowed"),
    [
        ((Change(Verb.RECEIVE, 1, 0, 0), Change(Verb.RECEIVE, 1, 0, 5)), True),
        ((Change(Verb.RECEIVE, 0, 0, 5), Change(Verb.RECEIVE, 1, 1, 5)), False),
        ((Change(Verb.RECEIVE, -1, 0, 0), Change(Verb.RETURN, 1, 0, -1)), False),
        ((Change(Verb.CONSUME, -2, -2, -5), Change(Verb.SHIP, -2, 0, 0)), True),
        ((Change(Verb.CONSUME, -2, -3, -5), Change(Verb.SHIP, -2, 1, 0)), False),
        ((Change(Verb.CONSUME, -2, 0, 1), Change(Verb.SHIP, 0, 0, 0)), False),
        ((Change(Verb.RESERVE, 0, 1, 0), Change(Verb.RELEASE, 0, -1, 0)), True),
        ((Change(Verb.RESERVE, 0, 0, 0), Change(Verb.RELEASE, 0, 0, 0)), False),
        ((Change(Verb.RESERVE, 1, 1, 0), Change(Verb.RELEASE, -1, -1, 0)), False),
        ((Change(Verb.RESERVE, 0, 1, 1), Change(Verb.RELEASE, 0, -1, -1)), False),
        ((Change(Verb.SPOIL, -1, 0, 0), Change(Verb.SPOIL, -1, 0, -5)), True),
        ((Change(Verb.SPOIL, -1, -1, 0), Change(Verb.SPOIL, 0, 0, 0)), False),
        ((Change(Verb.COUNT, 1, 0, 0), Change(Verb.COUNT, -1, 0, -5)), True),
        ((Change(Verb.COUNT, 0, 0, 0), Change(Verb.COUNT, 1, 0, -5)), False),
        ((Change(Verb.COUNT, 1, 1, 0), Change(Verb.COUNT, -1, -1, 0)), False),
        ((Change(Verb.ADD_COST, 0, 0, 5), Change(Verb.ADD_COST, 0, 0, -5)), True),
        ((Change(Verb.ADD_COST, 0, 0, 0), Change(Verb.ADD_COST, 1, 0, 5)), False),
    ],
)
def test_what_each_verb_may_do(changes, allowed):
    assert [not breaks_verb(change) for change in changes] == [allowed] * len(changes)
