"""Stock day by day, held against the same worked out lot by lot in plain Python."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.domain.buying.demand import MOST_COUNTED
from inventory.domain.buying.stock_projection import (
    NEVER,
    Flow,
    Outlook,
    Supply,
    by_day,
    project_stock,
)
from studio.foundation.errors import InvalidInput

DAYS = 15
amounts = st.integers(0, 100)


def whole(values):
    return np.array(list(values), dtype=np.int64)


def flow(rows):
    """(material, day, amount) triples, side by side."""
    return (
        Flow(*(whole(column) for column in zip(*rows, strict=True)))
        if rows
        else Flow(whole([]), whole([]), whole([]))
    )


def supply(rows):
    """(material, day, amount, last day) of each supply."""
    return Supply(flow([row[:3] for row in rows]), whole(row[3] for row in rows))


def outlook(*, on_hand=(), arriving=(), demand, days=DAYS):
    rows = len(demand)
    table = whole(demand).reshape(rows, days)
    return Outlook(
        rows=rows,
        days=days,
        on_hand=supply([(row, 0, amount, last) for row, amount, last in on_hand]),
        arriving=supply(list(arriving)),
        demand=table,
    )


def by_hand(material, *, on_hand, arriving, demand):
    """Expiring and balance of each day, taking from one lot after the other."""
    lots = [[last, amount] for row, amount, last in on_hand if row == material]
    missing, expired, balances = 0, [], []
    for day, needed in enumerate(demand):
        expired.append(sum(amount for last, amount in lots if last < day))
        lots = [lot for lot in lots if lot[0] >= day]
        for row, comes, amount, last in arriving:
            if row == material and max(comes, 0) == day:
                lots.append([max(last, day), amount])
        missing += needed
        for lot in sorted(lots):
            taken = min(lot[1], missing)
            lot[1] -= taken
            missing -= taken
        balances.append(sum(amount for _, amount in lots) - missing)
    return expired, balances


ends = st.integers(-3, DAYS + 5) | st.just(int(NEVER))
materials = st.integers(0, 2)
cases = st.fixed_dictionaries(
    {
        "on_hand": st.lists(st.tuples(materials, amounts, ends), max_size=8),
        "arriving": st.lists(
            st.tuples(materials, st.integers(-2, DAYS + 2), amounts, ends), max_size=6
        ),
        "demand": st.lists(
            st.lists(st.integers(0, 20), min_size=DAYS, max_size=DAYS), min_size=3, max_size=3
        ),
    }
)


@settings(max_examples=80)
@given(case=cases)
def test_each_day_is_as_worked_out_lot_by_lot(case):
    found = project_stock(outlook(**case))
    for material in range(3):
        expired, balances = by_hand(material, **{**case, "demand": case["demand"][material]})
        assert found.expiring[material].tolist() == expired
        assert found.balance[material].tolist() == balances
        alone = by_hand(
            material, on_hand=case["on_hand"], arriving=[], demand=case["demand"][material]
        )[1]
        lasts = next((day for day, each in enumerate(alone) if each < 0), DAYS)
        assert found.cover[material] == lasts


@given(case=cases)
def test_the_last_balance_is_the_start_and_all_that_flowed(case):
    found = project_stock(outlook(**case))
    flows = found.arriving - found.demand - found.expiring
    assert (found.balance[:, -1] == found.opening + flows.sum(axis=1)).all()
    assert (found.expiring >= 0).all()


@given(case=cases, more=st.integers(0, 50))
def test_what_never_expires_raises_every_balance_alike(case, more):
    base = project_stock(outlook(**{**case, "on_hand": [*case["on_hand"], (0, 10**6, NEVER)]}))
    raised = project_stock(
        outlook(**{**case, "on_hand": [*case["on_hand"], (0, 10**6 + more, NEVER)]})
    )
    assert (raised.balance[0] - base.balance[0] == more).all()
    assert (raised.balance[1:] == base.balance[1:]).all()


def test_days_that_are_short_and_low_are_named():
    demand = [[0, 4, 4, 4, *[0] * 11], [0] * 15]
    found = project_stock(
        outlook(on_hand=[(0, 10, NEVER), (1, 5, NEVER)], arriving=[(0, 5, 9, NEVER)], demand=demand)
    )
    assert found.balance[0].tolist() == [10, 6, 2, -2, -2, *[7] * 10]
    assert found.first_short.tolist() == [3, -1]
    assert found.first_day_at_most(whole([6, 4])).tolist() == [1, -1]
    assert found.cover.tolist() == [3, DAYS]


def test_what_came_in_time_is_no_cover_of_today():
    found = project_stock(
        outlook(on_hand=[(0, 3, NEVER)], arriving=[(0, 2, 90, NEVER)], demand=[[1] * DAYS])
    )
    assert (found.cover.tolist(), found.first_short.tolist()) == ([3], [-1])


def test_what_is_past_its_time_expires_today_and_covers_nothing():
    found = project_stock(outlook(on_hand=[(0, 8, -2), (0, 2, 1)], demand=[[1] * DAYS]))
    assert found.expiring[0].tolist()[:4] == [8, 0, 0, 0]
    assert found.first_short.tolist() == [2]


def test_large_amounts_stay_exact_and_too_large_ones_are_refused():
    odd = 2**59 + 1
    calm = [[0] * (DAYS - 1) + [1]]
    found = project_stock(outlook(on_hand=[(0, odd, NEVER)], demand=calm))
    assert found.balance[0, -1] == odd - 1
    halves = [(0, odd, NEVER)] * 3
    for wrong in (
        lambda: project_stock(outlook(on_hand=halves, demand=calm)),
        lambda: by_day(flow([(0, 0, MOST_COUNTED), (0, 1, MOST_COUNTED)]), rows=1, days=2),
    ):
        with pytest.raises(InvalidInput):
            wrong()


def test_flows_before_today_count_today_and_later_ones_do_not():
    table = by_day(flow([(0, -5, 2), (0, 1, 3), (0, 2, 4), (1, 0, 1)]), rows=2, days=2)
    assert table.tolist() == [[2, 3], [1, 0]]


def test_nothing_is_projected_as_nothing():
    empty = replace(outlook(demand=[[0] * DAYS]), rows=0, demand=np.zeros((0, DAYS), np.int64))
    assert project_stock(empty).balance.shape == (0, DAYS)
    bare = project_stock(outlook(demand=[[]], days=0))
    assert (bare.cover.tolist(), bare.first_short.tolist()) == ([0], [-1])
