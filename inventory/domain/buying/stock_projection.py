"""Stock day by day for many materials at once: what comes, what goes, what expires, what is left.

Amounts are exact 64-bit integers in each material's stock unit; more than they can hold is
refused. Day 0 is today. Flows are lists of (material, day, amount); those before today count
today, those beyond the horizon do not count.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inventory.domain.buying.demand import MOST_COUNTED
from inventory.domain.buying.forecasting import Whole
from studio.foundation.errors import InvalidInput

NEVER = np.iinfo(np.int64).max


@dataclass(frozen=True, slots=True)
class Flow:
    """Amounts of materials (their row) on days, side by side; none is below zero."""

    row: Whole
    day: Whole
    amount: Whole


@dataclass(frozen=True, slots=True)
class Supply:
    """Amounts that are there from one day on, and may be used up to and including another."""

    flow: Flow
    last_day: Whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What is known of the days to come. `arriving` is on order; `on_hand` is there today."""

    rows: int
    days: int
    on_hand: Supply
    arriving: Supply
    demand: Whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Projection:
    """Materials by days: what comes in, what is used, what expires, what is left in the evening.

    `balance` is below zero while more was needed than there was: what is missing is made up for by
    what comes later. `cover` is how many whole days the stock of today lasts without new supply;
    as many as the horizon has when it outlasts them.
    """

    opening: Whole
    arriving: Whole
    demand: Whole
    expiring: Whole
    balance: Whole
    cover: Whole

    def first_day_at_most(self, level: Whole) -> Whole:
        """The first day that ends at or below a level, by material; -1 when none does."""
        return _first(self.balance <= level[:, None])

    @property
    def first_short(self) -> Whole:
        """The first day that ends below zero, by material; -1 when none does."""
        return _first(self.balance < 0)


def by_day(flow: Flow, *, rows: int, days: int) -> Whole:
    """A flow as a matrix of materials by days. Raises InvalidInput when it is too large."""
    _check_sums(flow, rows)
    table = np.zeros((rows, days), dtype=np.int64)
    inside = flow.day < days
    day = np.maximum(flow.day[inside], 0)
    np.add.at(table, (flow.row[inside], day), flow.amount[inside])
    return table


def project_stock(outlook: Outlook) -> Projection:
    """Stock day by day when what expires first is used first.

    In each day, first what has expired is taken out, then what comes is put in, then the demand
    and what was missing before is served from the supply that expires soonest. What is on hand
    but past its last day already expires today. Raises InvalidInput when amounts are too large
    to stay exact.
    """
    rows, days = outlook.rows, outlook.days
    _check_all(outlook)
    arriving = by_day(outlook.arriving.flow, rows=rows, days=days)
    expiring = _expiring(outlook, rows=np.arange(rows))
    opening = _sums(outlook.on_hand.flow, rows)
    balance = opening[:, None] + np.cumsum(arriving - outlook.demand - expiring, axis=1)
    alone = balance
    if arriving.any():
        alone = balance.copy()
        waiting = np.flatnonzero(arriving.any(axis=1))
        without = _expiring(outlook, rows=waiting, arrivals=False)
        flows = -outlook.demand[waiting] - without
        alone[waiting] = opening[waiting, None] + np.cumsum(flows, axis=1)
    gone = _first(alone < 0)
    return Projection(
        opening=opening,
        arriving=arriving,
        demand=outlook.demand,
        expiring=expiring,
        balance=balance,
        cover=np.where(gone < 0, days, gone),
    )


def _expiring(outlook: Outlook, *, rows: Whole, arrivals: bool = True) -> Whole:
    """What expires of these materials (rows) on each day: first expired is first used."""
    shelf, last, coming = _slots(outlook, rows, arrivals=arrivals)
    lost = np.zeros((len(rows), outlook.days), dtype=np.int64)
    missing = np.zeros(len(rows), dtype=np.int64)
    demand = np.ascontiguousarray(outlook.demand[rows].T)
    ends = set(np.unique(last).tolist())
    for day in range(outlook.days):
        if day == 0 or day - 1 in ends:
            past = last < day
            lost[:, day] = np.where(past, shelf, 0).sum(axis=0)
            shelf[past] = 0
        for slot, row, amount in coming.get(day, ()):
            shelf[slot, row] += amount
        due = missing + demand[day]
        held = np.cumsum(shelf, axis=0)
        missing = np.maximum(due - held[-1], 0)
        left = np.maximum(held - due, 0)
        shelf[0] = left[0]
        np.subtract(left[1:], left[:-1], out=shelf[1:])
    return lost


def _slots(
    outlook: Outlook, rows: Whole, *, arrivals: bool
) -> tuple[Whole, Whole, dict[int, list[tuple[int, int, int]]]]:
    """Places on the shelf in order of expiry (place by material), and what comes into them.

    Supply of one material with the same last day shares a place.
    """
    place = np.full(outlook.rows, -1, dtype=np.int64)
    place[rows] = np.arange(len(rows))
    supplies = [outlook.on_hand, outlook.arriving] if arrivals else [outlook.on_hand]
    row = np.concatenate([place[each.flow.row] for each in supplies])
    day = np.concatenate([each.flow.day for each in supplies])
    amount = np.concatenate([each.flow.amount for each in supplies])
    ends = np.concatenate([each.last_day for each in supplies])
    late = np.concatenate(
        [np.full(len(each.flow.row), index) for index, each in enumerate(supplies)]
    )
    wanted = (row >= 0) & (day < outlook.days)
    row, day, amount, ends, late = (each[wanted] for each in (row, day, amount, ends, late))
    day = np.maximum(day, 0)
    # What comes is there for its first day at least.
    ends = np.where(late == 1, np.maximum(ends, day), ends)
    ends = np.where(ends >= outlook.days, outlook.days, np.maximum(ends, -1))
    slot = _numbered(row, ends, outlook.days + 2)
    places = int(slot.max()) + 1 if len(slot) else 1
    shelf = np.zeros((places, len(rows)), dtype=np.int64)
    last = np.full((places, len(rows)), outlook.days, dtype=np.int64)
    last[slot, row] = ends
    here = late == 0
    np.add.at(shelf, (slot[here], row[here]), amount[here])
    coming: dict[int, list[tuple[int, int, int]]] = {}
    for index in np.flatnonzero(~here):
        arrival = (int(slot[index]), int(row[index]), int(amount[index]))
        coming.setdefault(int(day[index]), []).append(arrival)
    return shelf, last, coming


def _numbered(row: Whole, ends: Whole, span: int) -> Whole:
    """The rank of each last day among those of its material, equal days sharing one."""
    keys, inverse = np.unique(row * span + ends + 1, return_inverse=True)
    owners = keys // span
    first = np.searchsorted(owners, owners)
    ranks: Whole = (np.arange(len(keys)) - first)[inverse]
    return ranks


def _sums(flow: Flow, rows: int) -> Whole:
    table = np.zeros(rows, dtype=np.int64)
    np.add.at(table, flow.row, flow.amount)
    return table


def _rough_sums(flow: Flow, rows: int) -> NDArray[np.float64]:
    weights = flow.amount.astype(np.float64)
    return np.bincount(flow.row, weights, minlength=rows).astype(np.float64)


def _check_sums(flow: Flow, rows: int) -> None:
    _refuse_if_too_large(_rough_sums(flow, rows))


def _check_all(outlook: Outlook) -> None:
    """All that comes and goes of a material, added up, must stay within exact integers."""
    totals = outlook.demand.sum(axis=1, dtype=np.float64)
    for supply in (outlook.on_hand, outlook.arriving):
        totals += _rough_sums(supply.flow, outlook.rows)
    _refuse_if_too_large(totals)


def _refuse_if_too_large(totals: NDArray[np.float64]) -> None:
    # Sums of floats are exact enough here: the limit is far below what the integers hold.
    if totals.size and totals.max() > MOST_COUNTED:
        raise InvalidInput("The amounts of a material are too large to be projected exactly.")


def _first(table: NDArray[np.bool_]) -> Whole:
    """The first true column of each row, -1 without one."""
    if table.shape[1] == 0:
        return np.full(len(table), -1, dtype=np.int64)
    found: Whole = np.where(table.any(axis=1), table.argmax(axis=1), -1).astype(np.int64)
    return found
