"""Promises of bars: exact, never twice, and never later because more is there."""

from collections import Counter, defaultdict
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.orders.promising import (
    MOST_BATCHES,
    Asked,
    Bars,
    Origin,
    ShelfDay,
    Started,
    Way,
    Workshop,
    less,
    promise_bars,
    ready_days,
)

SINCE = date(2026, 3, 2)
NEVER = date.max
POOLS, MOLDS, MATERIALS = (1, 2), (11, 12), (21, 22)


def day(number):
    return SINCE + timedelta(days=number)


days = st.integers(0, 60).map(day)
amounts = st.integers(1, 60)
ways = st.builds(
    Way,
    mold=st.sampled_from(MOLDS),
    code=st.sampled_from(["loaf", "slab"]),
    bars=st.integers(1, 24),
    needs=st.dictionaries(st.sampled_from(MATERIALS), st.integers(1, 9), min_size=1),
    days_in_mold=st.integers(1, 4),
    days_to_cure=st.integers(0, 50),
)
bars = st.builds(
    Bars,
    kind=st.sampled_from([Origin.CURED, Origin.CURING, Origin.PLANNED]),
    amount=amounts,
    ready_on=days,
    code=st.sampled_from(["B-1", "B-2", "B-3"]),
)


def by_pool(each, least=0):
    return st.fixed_dictionaries({p: st.lists(each, min_size=least, max_size=4) for p in POOLS})


bookings = st.fixed_dictionaries(
    {m: st.lists(st.tuples(days, st.integers(1, 5)), max_size=3) for m in MOLDS}
)
arrivals = st.fixed_dictionaries(
    {m: st.lists(st.tuples(days, st.integers(1, 40)), max_size=4) for m in MATERIALS}
)
cases = st.fixed_dictionaries(
    {
        "asked": st.lists(
            st.builds(Asked, pool=st.sampled_from(POOLS), amount=amounts), min_size=1, max_size=5
        ),
        "free": by_pool(bars),
        "ways": by_pool(ways),
        "booked": bookings,
        "arrivals": arrivals,
    }
)


def first_day(comes, amount):
    total = 0
    for when, more in sorted(comes):
        total += more
        if total >= amount:
            return when
    return None


def shelf_of(comes):
    def shelf(needs, of):
        found = {m: first_day(comes[m], needs[m]) for m in of}
        if None in found.values():
            return ShelfDay(on=None, waits_for="oil")
        return ShelfDay(on=max(found.values()), waits_for="oil")

    return shelf


def workshop_of(case):
    shop = Workshop(since=SINCE, shelf=shelf_of(case["arrivals"]))
    for mold, taken in case["booked"].items():
        for start, length in taken:
            shop.book(mold, earliest=start, days=length)
    return shop


def promised(case):
    shop = workshop_of(case)
    found = promise_bars(case["asked"], free=case["free"], ways=case["ways"], workshop=shop)
    return found, shop


@given(cases)
def test_what_is_promised_is_exactly_what_was_asked(case):
    found, _ = promised(case)
    for line, answer in zip(case["asked"], found, strict=True):
        assert sum(part.amount for part in answer.parts) + answer.short == line.amount
        assert all(part.amount > 0 for part in answer.parts) and answer.short >= 0
        assert (answer.on is None) is bool(answer.short)
        assert list(answer.parts) == sorted(answer.parts, key=lambda part: part.ready_on)


@given(cases)
def test_no_bar_is_promised_twice(case):
    found, shop = promised(case)
    given_out, there = Counter(), Counter()
    for line, answer in zip(case["asked"], found, strict=True):
        for part in answer.parts:
            if part.kind is not Origin.NEW:
                given_out[line.pool, part.kind, part.ready_on, part.code] += part.amount
    for pool, lots in case["free"].items():
        for lot in lots:
            there[pool, lot.kind, lot.ready_on, lot.code] += lot.amount
    assert given_out <= there
    most = max((way.bars for each in case["ways"].values() for way in each), default=0)
    new = sum(p.amount for answer in found for p in answer.parts if p.kind is Origin.NEW)
    assert new <= shop.batches * most


@given(cases)
def test_new_batches_share_no_mold_and_no_material(case):
    before = workshop_of(case).booked
    _, shop = promised(case)
    for mold, taken in shop.booked.items():
        assert all(first[1] <= later[0] for first, later in pairwise(taken))
        assert not Counter(before.get(mold, ())) - Counter(taken)
    for material, used in shop.used.items():
        assert used <= sum(amount for _, amount in case["arrivals"][material])
    new = sum(len(taken) for taken in shop.booked.values()) - sum(
        len(taken) for taken in before.values()
    )
    assert new == shop.batches


def dates_of(case):
    return [answer.on or NEVER for answer in promised(case)[0]]


@given(cases, st.sampled_from(POOLS), bars)
def test_more_bars_never_make_a_promise_later(case, pool, more):
    richer = {**case, "free": {**case["free"], pool: [*case["free"][pool], more]}}
    assert all(now <= then for now, then in zip(dates_of(richer), dates_of(case), strict=True))


@given(cases, st.sampled_from(MATERIALS), days, amounts)
def test_more_of_a_material_never_makes_a_bar_later(case, material, when, amount):
    """For a bar that is made in one way: others may have to wait for what it now can take."""
    alone = {
        **case,
        "asked": [replace(line, pool=1) for line in case["asked"]],
        "ways": {**case["ways"], 1: case["ways"][1][:1]},
    }
    oil = [*case["arrivals"][material], (when, amount)]
    richer = {**alone, "arrivals": {**case["arrivals"], material: oil}}
    assert all(now <= then for now, then in zip(dates_of(richer), dates_of(alone), strict=True))


@given(cases)
def test_nothing_soonest_is_left_for_a_line_alone(case):
    """A single line waits for its last part only: what was free sooner is all taken."""
    alone = {**case, "asked": case["asked"][:1]}
    (answer,), _ = promised(alone)
    used = defaultdict(int)
    for part in answer.parts:
        used[part.kind, part.ready_on, part.code] += part.amount
    last = answer.on or NEVER
    there = Counter()
    for lot in case["free"][alone["asked"][0].pool]:
        there[lot.kind, lot.ready_on, lot.code] += lot.amount
    assert all(used[lot] == amount for lot, amount in there.items() if lot[1] < last)


@given(st.lists(bars, max_size=6), st.integers(0, 200))
def test_what_is_owed_takes_the_soonest_bars(lots, owed):
    left = less(lots, owed)
    total = sum(lot.amount for lot in lots)
    assert sum(lot.amount for lot in left) == max(0, total - owed)
    if left:
        soonest = min(lot.ready_on for lot in left)
        assert sum(lot.amount for lot in lots if lot.ready_on < soonest) <= owed


def test_a_bar_of_each_origin_by_hand():
    """10 cured, 5 curing until day 9, and 24 a batch: the loaf is taken up to day 3, the oil of
    a second batch comes on day 8, and the third batch's never."""
    way = Way(mold=11, code="loaf", bars=24, needs={21: 4}, days_in_mold=2, days_to_cure=28)
    free = {
        1: [
            Bars(kind=Origin.CURING, amount=5, ready_on=day(9), code="B-2"),
            Bars(kind=Origin.CURED, amount=10, ready_on=SINCE, code="B-1"),
        ]
    }
    shop = Workshop(since=SINCE, shelf=shelf_of({21: [(SINCE, 4), (day(8), 4)], 22: []}))
    shop.book(11, earliest=SINCE, days=3)
    lines = [Asked(pool=1, amount=n) for n in (12, 10, 24, 20)]
    found = promise_bars(lines, free=free, ways={1: [way]}, workshop=shop)
    assert [(a.on, [(p.kind, p.amount) for p in a.parts]) for a in found] == [
        (day(9), [(Origin.CURED, 10), (Origin.CURING, 2)]),
        (day(31), [(Origin.CURING, 3), (Origin.NEW, 7)]),
        (day(36), [(Origin.NEW, 17), (Origin.NEW, 7)]),
        (None, [(Origin.NEW, 17)]),
    ]
    assert found[0].waits_for == "" and "mold loaf" in found[1].waits_for
    assert found[3].short == 3 and "oil" in found[3].waits_for


def test_a_season_is_no_promise():
    way = Way(mold=11, code="cup", bars=1, needs={21: 1}, days_in_mold=1, days_to_cure=0)
    shop = Workshop(since=SINCE, shelf=shelf_of({21: [(SINCE, 10**6)]}))
    asked = [Asked(pool=1, amount=MOST_BATCHES + 5)]
    (found,) = promise_bars(asked, free={}, ways={1: [way]}, workshop=shop)
    assert found.on is None and found.short == 5 and str(MOST_BATCHES) in found.waits_for


@pytest.mark.parametrize(("mold_days", "cure_days", "total"), [(2, 28, 28), (3, 0, 3)])
def test_bars_are_cut_before_they_are_sold(mold_days, cure_days, total):
    way = Way(mold=1, code="x", bars=1, needs={}, days_in_mold=mold_days, days_to_cure=cure_days)
    assert way.days == total
    assert replace(way, bars=2).days == total


def test_batches_under_way_keep_their_molds():
    """Two plans for one mold, both overdue, behind a batch that should be cut by now; one day's
    notice for the cut, two days in the mold."""
    shop = Workshop(since=SINCE, shelf=shelf_of({}))
    plan = {"mold": 11, "days_in_mold": 2, "days_to_cure": 28}
    batches = [
        Started(id=1, start=day(-3), **plan),
        Started(id=2, start=day(-4), **plan),
        Started(id=3, start=day(-9), ready_on=day(19), is_poured=True, **plan),
        Started(id=4, start=day(-40), ready_on=day(-12), is_cut=True, **plan),
        Started(id=5, start=day(-40), ready_on=day(3), is_cut=True, **plan),
        Started(id=6, start=day(10), **{**plan, "mold": None}),
    ]
    assert ready_days(batches, shop) == {
        2: day(1 + 28),
        1: day(3 + 28),
        3: day(19),
        4: SINCE,
        5: day(3),
        6: day(38),
    }
    assert shop.booked[11] == [(SINCE, day(1)), (day(1), day(3)), (day(3), day(5))]


@given(
    st.lists(
        st.tuples(st.integers(-9, 30), st.integers(1, 4), st.sampled_from([*MOLDS, None])),
        max_size=8,
    )
)
def test_no_two_batches_under_way_share_a_mold(drawings):
    shop = Workshop(since=SINCE, shelf=shelf_of({}))
    batches = [
        Started(id=n, start=day(start), days_in_mold=length, days_to_cure=20, mold=mold)
        for n, (start, length, mold) in enumerate(drawings)
    ]
    ready = ready_days(batches, shop)
    for taken in shop.booked.values():
        assert all(first[1] <= later[0] for first, later in pairwise(taken))
    assert sum(map(len, shop.booked.values())) == sum(b.mold is not None for b in batches)
    assert all(ready[b.id] >= max(b.start, SINCE) + timedelta(20) for b in batches)


# Ties of days: whatever comes on the same day, in the order that keeps most free.


def way_of(code="loaf", mold=11, **values):
    values = {"bars": 10, "needs": {21: 1}, "days_in_mold": 2, "days_to_cure": 28, **values}
    return Way(mold=mold, code=code, **values)


def free_bars(*lots):
    return [Bars(kind=kind, amount=n, ready_on=day(on), code=code) for kind, n, on, code in lots]


def covered(amount, free=(), ways=(), *, molds=(), since=SINCE):
    shop = Workshop(since=since, shelf=shelf_of({21: [(SINCE, 100)], 22: []}))
    for mold, start, length in molds:
        shop.book(mold, earliest=day(start), days=length)
    (found,) = promise_bars(
        [Asked(pool=1, amount=amount)], free={1: free}, ways={1: ways}, workshop=shop
    )
    return [(part.kind, part.amount, part.code) for part in found.parts], found, shop


def test_on_one_day_cured_bars_go_before_curing_and_planned_ones():
    free = free_bars(
        (Origin.PLANNED, 3, 5, "B-1"),
        (Origin.CURED, 3, 5, "B-3"),
        (Origin.CURING, 3, 5, "B-2"),
        (Origin.CURING, 3, 5, "B-0"),
    )
    parts, found, _ = covered(10, free)
    assert parts == [
        (Origin.CURED, 3, "B-3"),
        (Origin.CURING, 3, "B-0"),
        (Origin.CURING, 3, "B-2"),
        (Origin.PLANNED, 1, "B-1"),
    ]
    assert found.on == day(5)
    # What is owed already takes them in the same order.
    left = less(free, 5)
    assert [(bars.code, bars.amount) for bars in left] == [("B-0", 1), ("B-2", 3), ("B-1", 3)]


def test_bars_that_are_ready_with_a_new_batch_are_taken_before_it_is_made():
    parts, _, shop = covered(5, free_bars((Origin.PLANNED, 5, 28, "B-1")), [way_of()])
    assert parts == [(Origin.PLANNED, 5, "B-1")] and shop.batches == 0
    # A day later they are left for others, and a batch is made.
    parts, _, shop = covered(5, free_bars((Origin.PLANNED, 5, 29, "B-1")), [way_of()])
    assert parts == [(Origin.NEW, 5, "loaf")] and shop.batches == 1


def test_of_two_ways_on_one_day_the_one_named_first_is_made():
    parts, _, _ = covered(5, ways=[way_of("first"), way_of("other", mold=12)])
    assert parts == [(Origin.NEW, 5, "first")]
    quicker = way_of("other", mold=12, days_to_cure=27)
    parts, _, _ = covered(5, ways=[way_of("first"), quicker])
    assert parts == [(Origin.NEW, 5, "other")]


@pytest.mark.parametrize(("begins", "poured"), [(2, 0), (1, 4)])
def test_a_gap_just_as_long_as_a_pour_is_used(begins, poured):
    """Two days in the mold: free on day 0 and 1, where it is taken from day 2 on."""
    _, found, _ = covered(5, ways=[way_of()], molds=[(11, begins, 3)])
    assert found.on == day(poured + 28)
    # Only what one waits for is told.
    assert found.waits_for == ("mold loaf" if poured else "")


def test_oil_that_is_there_today_is_not_waited_for():
    shop = Workshop(since=SINCE, shelf=shelf_of({21: [(SINCE, 1), (day(1), 1)], 22: []}))
    lines = [Asked(pool=1, amount=10), Asked(pool=2, amount=10)]
    ways = {1: [way_of()], 2: [way_of("slab", mold=12)]}
    first, second = promise_bars(lines, free={}, ways=ways, workshop=shop)
    assert (first.on, first.waits_for) == (day(28), "")
    assert (second.on, second.waits_for) == (day(29), "oil")


def test_bars_that_are_ready_today_are_taken_without_a_look_at_molds():
    free = free_bars((Origin.CURED, 5, 0, "B-1"), (Origin.CURED, 5, -3, "B-2"))
    parts, found, shop = covered(7, free, [way_of(days_in_mold=0, days_to_cure=0)])
    assert parts == [(Origin.CURED, 5, "B-2"), (Origin.CURED, 2, "B-1")]
    assert (found.on, shop.batches) == (SINCE, 0)


def test_plans_of_one_day_take_the_mold_in_the_order_of_their_numbers():
    shop = Workshop(since=SINCE, shelf=shelf_of({}))
    plan = {"start": day(3), "mold": 11, "days_in_mold": 2, "days_to_cure": 10}
    ready = ready_days([Started(id=8, **plan), Started(id=7, **plan)], shop)
    assert ready == {7: day(13), 8: day(15)}
