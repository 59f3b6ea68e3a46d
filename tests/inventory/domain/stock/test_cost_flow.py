"""Which cost leaves with what is taken: by lot, and at the moving average.

The worked examples are those of OpenStax, Principles of Accounting, Volume 1: Financial Accounting,
sections 10.1 to 10.3: 150 at 21 to begin with, 225 at 27 and 210 at 33 bought, 120 and 180 sold.
"""

from dataclasses import replace
from datetime import date
from fractions import Fraction
from functools import reduce

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.stock.ledger import Balance, Change, Verb, after, taking
from inventory.domain.stock.lots import LotView, MovingAverage
from inventory.domain.stock.picking import Choice, pick
from inventory.errors import NotEnoughStock
from studio.foundation.errors import InvalidInput

UNIT = 10_000
GOODS = 1
LAST_DAY = date(2024, 7, 31)


def bought(number, day, quantity, unit_cost):
    return LotView(
        id=number,
        code=f"P{number}",
        material=GOODS,
        received_on=date(2024, 7, day),
        on_hand=quantity,
        cost=quantity * unit_cost * UNIT,
    )


OPENING, SECOND, THIRD = bought(1, 1, 150, 21), bought(2, 10, 225, 27), bought(3, 25, 210, 33)
ALL = [OPENING, SECOND, THIRD]


def cost_taken(cost, *, part, whole):
    """What the ledger lets go with a part of a lot."""
    return -taking(Verb.SHIP, Balance(whole, 0, cost), part).cost


def average_of(lots):
    return MovingAverage(
        quantity=sum(lot.on_hand for lot in lots), cost=sum(lot.cost for lot in lots)
    )


def sell(shelf, quantity, chosen=()):
    """Take a quantity by the product's picks; the lots that are left and the cost that went."""
    choices = [Choice(shelf[number], amount) for number, amount in chosen]
    picks = pick(quantity, shelf.values(), material=GOODS, on=LAST_DAY, chosen=choices)
    left, cost = dict(shelf), 0
    for picked in picks:
        lot = picked.lot
        part = cost_taken(lot.cost, part=picked.amount, whole=lot.on_hand)
        left[lot.id] = replace(lot, on_hand=lot.on_hand - picked.amount, cost=lot.cost - part)
        cost += part
    return left, cost


def shelf_of(*lots):
    return {lot.id: lot for lot in lots}


def value_of(shelf):
    return sum(lot.cost for lot in shelf.values())


# --- laws ----------------------------------------------------------------------------------


@given(cost=st.integers(0, 10**12), whole=st.integers(1, 10**9), data=st.data())
def test_takes_that_empty_a_lot_take_all_of_its_cost(cost, whole, data):
    left_cost, left, taken = cost, whole, 0
    while left:
        part = data.draw(st.integers((left + 3) // 4, left))
        piece = cost_taken(left_cost, part=part, whole=left)
        assert 0 <= piece <= left_cost
        left_cost, left, taken = left_cost - piece, left - part, taken + piece
    assert (left_cost, taken) == (0, cost)


@given(cost=st.integers(0, 10**12), whole=st.integers(1, 10**9), data=st.data())
def test_a_take_is_in_proportion_to_half_a_unit(cost, whole, data):
    part = data.draw(st.integers(1, whole))
    piece = cost_taken(cost, part=part, whole=whole)
    assert abs(piece - Fraction(cost * part, whole)) <= Fraction(1, 2)


receipts = st.lists(
    st.builds(
        Change, st.just(Verb.RECEIVE), on_hand=st.integers(1, 10**6), cost=st.integers(0, 10**9)
    ),
    min_size=1,
    max_size=10,
)


@given(received=receipts, data=st.data())
def test_what_comes_in_goes_out_or_stays(received, data):
    held, gone = Balance(), 0
    for change in received:
        before = after(held, change)
        held = after(before, taking(Verb.SHIP, before, data.draw(st.integers(1, before.on_hand))))
        gone += before.cost - held.cost
    assert gone + held.cost == sum(change.cost for change in received)
    assert held.cost == 0 or held.on_hand > 0


@given(received=receipts)
def test_an_average_lies_between_the_cheapest_and_the_dearest(received):
    unit_costs = [Fraction(change.cost, change.on_hand) for change in received]
    assert min(unit_costs) <= average_of(received).per_unit <= max(unit_costs)


@given(received=receipts, part=st.fractions(Fraction(1, 100), 1))
def test_taking_some_leaves_the_average_where_it_was(received, part):
    held = reduce(after, received, Balance())
    taken = int(held.on_hand * part)
    if taken == held.on_hand:
        return
    left = after(held, taking(Verb.SHIP, held, taken))
    off = average_of([left]).per_unit - average_of([held]).per_unit
    assert abs(off) <= Fraction(1, 2 * left.on_hand)


def test_nothing_held_has_no_average():
    with pytest.raises(NotEnoughStock):
        MovingAverage().cost_of(5)


def test_a_need_beyond_what_is_held_is_valued_too():
    assert MovingAverage(quantity=4, cost=10).cost_of(10) == 25


# --- worked examples -----------------------------------------------------------------------


def test_first_in_first_out_periodic():
    """OpenStax, section 10.2, FIFO: cost of sales 7,200, 285 left at 8,955, margin 4,140."""
    left, cost = sell(shelf_of(*ALL), 120 + 180)
    assert value_of(shelf_of(*ALL)) == 16_155 * UNIT
    assert (cost, value_of(left)) == (7_200 * UNIT, 8_955 * UNIT)
    assert sum(lot.on_hand for lot in left.values()) == 285
    assert (120 * 36 + 180 * 39) * UNIT - cost == 4_140 * UNIT


def test_first_in_first_out_perpetual():
    """OpenStax, section 10.3, FIFO: the sales cost 2,520 and 4,680; 75 at 27 and 210 at 33 stay."""
    left, first = sell(shelf_of(OPENING), 120)
    left, second = sell({**left, SECOND.id: SECOND}, 180)
    left = {**left, THIRD.id: THIRD}
    assert (first, second) == (2_520 * UNIT, 4_680 * UNIT)
    assert value_of(left) == 8_955 * UNIT
    layers = [(lot.on_hand, lot.cost // lot.on_hand) for lot in left.values() if lot.on_hand]
    assert layers == [(75, 27 * UNIT), (210, 33 * UNIT)]


def test_weighted_average_periodic():
    """OpenStax, section 10.2, weighted average: 27.62 a unit, 285 left at 7,872, 8,283 sold.

    The book rounds the average to cents first. Carried in full it leaves 7,870.38 and sells at
    8,284.62, which is what a ledger without rounding must show.
    """
    held = average_of(ALL)
    assert float(held.per_unit) / UNIT == pytest.approx(27.62, abs=0.005)
    printed = round(held.per_unit / 100) / 100
    assert printed * 285 == pytest.approx(7_872, abs=0.5)
    sold = held.cost_of(300)
    assert (held.cost - sold) / UNIT == pytest.approx(7_870.38, abs=0.005)
    assert sold / UNIT == pytest.approx(8_284.62, abs=0.005)


def test_specific_identification():
    """OpenStax, sections 10.2 and 10.3: the maker's own lots cost 7,260 and leave 8,895."""
    left, first = sell(shelf_of(OPENING), 120, chosen=[(1, 120)])
    left, second = sell({**left, SECOND.id: SECOND}, 180, chosen=[(1, 20), (2, 160)])
    left = {**left, THIRD.id: THIRD}
    assert first + second == 7_260 * UNIT
    assert value_of(left) == 8_895 * UNIT
    assert [(lot.on_hand, lot.cost // lot.on_hand) for lot in left.values()] == [
        (10, 21 * UNIT),
        (65, 27 * UNIT),
        (210, 33 * UNIT),
    ]


def test_one_unit_sold_by_each_method():
    """OpenStax, section 10.1: sold at 36, the margin is 9 from the second lot, 15 FIFO, 8.38."""
    price = 36 * UNIT
    _, first_in = sell(shelf_of(*ALL), 1)
    _, chosen = sell(shelf_of(*ALL), 1, chosen=[(2, 1)])
    average = average_of(ALL)
    assert price - first_in == 15 * UNIT
    assert price - chosen == 9 * UNIT
    assert (price - average.cost_of(1)) / UNIT == pytest.approx(8.38, abs=0.005)


def test_what_is_asked_for_below_zero_has_no_cost():
    with pytest.raises(InvalidInput):
        MovingAverage(quantity=5, cost=10).cost_of(-1)
    assert MovingAverage(quantity=5, cost=10).cost_of(0) == 0
