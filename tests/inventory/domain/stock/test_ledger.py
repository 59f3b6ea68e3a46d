"""The laws of the ledger, for whatever numbers."""

from functools import reduce

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
