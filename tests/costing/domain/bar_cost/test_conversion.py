"""Cost of conversion: laws first, then textbook figures."""

from dataclasses import replace
from fractions import Fraction
from functools import reduce

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.bar_cost.conversion import (
    MISSED,
    ConversionCost,
    Effort,
    Standard,
    Told,
    Work,
    abnormal_conversion,
    conversion_cost,
    conversion_from,
    conversion_of,
    expected_work,
    filled,
    work_of,
)
from costing.domain.bar_cost.late import Left, late_cost
from costing.domain.rates.rates import Rates, Task
from inventory.domain.stock.ledger import Balance, Change, Verb, after, holds, taking
from inventory.domain.stock.lots import MovingAverage

UNIT = 10_000
amounts = st.integers(0, 10**6)
seconds = st.integers(0, 10**5)
maybe = st.none() | amounts
rate_sets = st.builds(
    Rates,
    labor_per_hour=amounts,
    overhead_per_batch=amounts,
    overhead_per_labor_hour=amounts,
    mix_per_hour=maybe,
    cut_per_hour=maybe,
    wrap_per_hour=maybe,
    rack_per_week=amounts,
    energy_per_kwh=amounts,
)
works = st.builds(
    Work,
    mix=seconds,
    cut=seconds,
    wrap=seconds,
    other=seconds,
    rack_days=st.integers(0, 400),
    energy_wh=st.integers(0, 10**5),
)
standards = st.builds(
    Standard,
    mix_minutes=st.integers(0, 300),
    mix_seconds_per_bar=st.integers(0, 300),
    cut_minutes=st.integers(0, 300),
    cut_seconds_per_bar=st.integers(0, 300),
    wrap_minutes=st.integers(0, 300),
    wrap_seconds_per_bar=st.integers(0, 300),
    energy_wh=st.integers(0, 10**5),
    bars_per_rack=st.none() | st.integers(1, 100),
)


@given(work=works, rates=rate_sets)
def test_lines_add_up_and_are_kept_whole(work, rates):
    cost = conversion_of(work, rates)
    assert cost.total == sum(line.cost for line in cost.lines)
    assert conversion_from(cost.lines) == cost
    labor = (
        work.mix * rates.labor_for(Task.MIX)
        + work.cut * rates.labor_for(Task.CUT)
        + work.wrap * rates.labor_for(Task.WRAP)
        + work.other * rates.labor_per_hour
    )
    assert cost.labor == round(Fraction(labor, 3600))
    assert cost.of(Effort.RACK) == round(Fraction(work.rack_days * rates.rack_per_week, 7))
    assert cost.of(Effort.ENERGY) == round(Fraction(work.energy_wh * rates.energy_per_kwh, 1000))


@given(minutes=st.lists(st.integers(0, 600), min_size=4, max_size=4), rates=rate_sets)
def test_telling_tasks_apart_at_one_rate_changes_no_total(minutes, rates):
    same = replace(rates, mix_per_hour=None, cut_per_hour=None, wrap_per_hour=None)
    mix, cut, wrap, other = (each * 60 for each in minutes)
    apart = conversion_of(Work(mix=mix, cut=cut, wrap=wrap, other=other), same)
    whole = conversion_cost(labor_minutes=sum(minutes), rates=same)
    assert (apart.labor, apart.overhead, apart.minutes) == (
        whole.labor,
        whole.overhead,
        whole.minutes,
    )


@given(work=works, rates=rate_sets, good=st.integers(1, 200), abnormal=st.integers(0, 50))
def test_an_unusual_loss_takes_its_part_of_what_came_before_the_cut(work, rates, good, abnormal):
    cost = conversion_of(work, rates)
    expensed = abnormal_conversion(cost, abnormal=abnormal, bars=good + abnormal)
    assert 0 <= expensed <= cost.total
    before = cost.total - cost.of(Effort.WRAP) - cost.of(Effort.RACK)
    assert expensed <= round(Fraction(before * abnormal, good + abnormal)) + 1
    if not abnormal:
        assert expensed == 0


@given(standard=standards, bars=st.integers(1, 500), rates=rate_sets)
def test_a_larger_batch_never_costs_less_nor_more_by_the_bar_in_set_up(standard, bars, rates):
    rackless = replace(standard, bars_per_rack=None)
    one, two = (
        conversion_of(
            work_of(rackless, bars=n, is_blend=False, minutes=0, rack_days=28), rates
        ).total
        for n in (bars, 2 * bars)
    )
    assert one <= two + 4  # roundings of four overheads
    assert Fraction(two, 2 * bars) <= Fraction(one, bars) + Fraction(8, bars)


def test_planned_labor_scales_with_the_bars():
    standard = Standard(mix_minutes=45, cut_minutes=5, cut_seconds_per_bar=20,
                        wrap_seconds_per_bar=60, energy_wh=1500, bars_per_rack=50)  # fmt: skip
    small = work_of(standard, bars=10, is_blend=False, minutes=90, rack_days=28)
    large = work_of(standard, bars=100, is_blend=False, minutes=90, rack_days=28)
    assert small == Work(mix=2700, cut=500, wrap=600, rack_days=28, energy_wh=1500)
    assert large == Work(mix=2700, cut=2300, wrap=6000, rack_days=56, energy_wh=1500)
    blend = work_of(standard, bars=0, is_blend=True, minutes=90, rack_days=0)
    assert blend == Work(mix=2700, energy_wh=1500, batches=0)


@given(standard=st.none() | standards, minutes=st.integers(0, 600), rates=rate_sets)
def test_a_blend_bears_its_hours_and_energy_but_no_overhead_by_the_batch(standard, minutes, rates):
    work = work_of(standard, bars=0, is_blend=True, minutes=minutes, rack_days=0)
    cost = conversion_of(work, rates)
    assert cost.of(Effort.BATCH) == cost.quantity_of(Effort.BATCH) == 0
    hours = Fraction(work.seconds, 3600)
    assert cost.of(Effort.LABOR_HOUR) == round(hours * rates.overhead_per_labor_hour)
    soap = work_of(standard, bars=1, is_blend=False, minutes=minutes, rack_days=0)
    assert conversion_of(soap, rates).of(Effort.BATCH) == rates.overhead_per_batch


NEEDED = {
    "labor_per_hour": {Effort.MIX, Effort.CUT, Effort.WRAP, Effort.LABOR},
    "overhead_per_batch": {Effort.BATCH},
    "overhead_per_labor_hour": {Effort.LABOR_HOUR},
    "energy_per_kwh": {Effort.ENERGY},
}


@given(work=works, rates=rate_sets, missing=st.sets(st.sampled_from(sorted(NEEDED))))
def test_what_has_no_rate_is_not_known_and_never_zero(work, rates, missing):
    some = replace(rates, **dict.fromkeys(missing))
    cost = conversion_of(work, some)
    own = {Effort.MIX: some.mix_per_hour, Effort.CUT: some.cut_per_hour}
    own[Effort.WRAP] = some.wrap_per_hour
    waits = {effort for name in missing for effort in NEEDED[name] if own.get(effort) is None}
    taken = {effort for effort in waits if cost.quantity_of(effort)}
    assert set(cost.unknown) == taken
    assert (cost.total is None) == bool(taken)
    for line in cost.lines:
        assert (line.cost is None) == (line.rate is None) == (line.effort in taken)
    assert set(cost.missed) == {MISSED[effort] for effort in taken}
    if not taken:
        assert cost.total == conversion_of(work, rates).total


@given(work=works, rates=rate_sets, missing=st.sets(st.sampled_from(sorted(NEEDED))))
def test_a_rate_that_comes_late_costs_only_what_had_none(work, rates, missing):
    before = conversion_of(work, replace(rates, **dict.fromkeys(missing)))
    after = conversion_from(filled(before.lines, rates))
    assert after.unknown == ()
    for was, now in zip(before.lines, after.lines, strict=True):
        assert (was.effort, was.quantity) == (now.effort, now.quantity)
        if was.cost is not None:
            assert was == now
    whole = conversion_of(work, rates)
    assert abs(after.total - whole.total) <= 1  # labor in two parts is rounded twice
    again = filled(after.lines, replace(rates, labor_per_hour=1, overhead_per_batch=1))
    assert conversion_from(again) == after


@given(
    work=works,
    rates=rate_sets,
    missing=st.sets(st.sampled_from(sorted(NEEDED)), min_size=1),
    cut=st.tuples(st.integers(1, 300), st.integers(0, 20)),
    part=st.fractions(0, 1),
)
def test_what_comes_late_is_on_what_is_left_or_an_expense(work, rates, missing, cut, part):
    good, abnormal = cut
    before = conversion_of(work, replace(rates, **dict.fromkeys(missing)))
    after = conversion_from(filled(before.lines, rates))
    left = Left(made=good, on_hand=int(good * part))
    late = late_cost(before, after, left, abnormal=abnormal, bars=good + abnormal)
    assert late.cost == after.at_least - before.at_least
    assert late.on_lot + late.expensed + late.variance == late.cost
    assert min(late.on_lot, late.expensed, late.variance) >= 0
    if not left.on_hand:
        assert late.on_lot == 0
    if left.on_hand == good:
        assert late.variance == 0
    if not abnormal:
        assert late.expensed == 0
        assert late.on_lot == round(Fraction(late.cost * left.on_hand, good))


def test_underapplied_overhead_is_split_between_what_is_left_and_what_was_sold():
    """Proration of underapplied overhead after OpenStax, Principles of Accounting, volume 2,
    section 4.6 (the rule from memory, the figures ours): 240.00 of overhead by the batch that came
    late on 120 bars, of which 90 were sold, is 60.00 on the 30 that are left, and 180.00 of cost of
    goods sold.
    """
    known = Rates(labor_per_hour=0, overhead_per_labor_hour=0)
    before = conversion_of(Work(other=3600), known)
    late_rates = replace(known, overhead_per_batch=240 * UNIT)
    after = conversion_from(filled(before.lines, late_rates))
    found = late_cost(before, after, Left(made=120, on_hand=30), abnormal=0, bars=120)
    assert (found.on_lot, found.variance, found.expensed) == (60 * UNIT, 180 * UNIT, 0)


tolds = st.builds(
    Told, **dict.fromkeys(("mix", "cut", "wrap"), st.none() | st.integers(0, 1000))
)  # fmt: skip


@given(told=tolds, planned=works, is_blend=st.booleans())
def test_what_is_expected_is_never_less_than_what_was_told(told, planned, is_blend):
    expected = expected_work(told, planned, is_blend=is_blend)
    assert expected.seconds >= 60 * (told.minutes or 0)
    for task in told.untold(is_blend=False):
        assert getattr(expected, task.value) == getattr(planned, task.value)
    if not told.untold(is_blend=is_blend):
        assert expected.other == 0
    assert (expected.rack_days, expected.energy_wh) == (planned.rack_days, planned.energy_wh)


@given(told=tolds, rates=rate_sets, is_blend=st.booleans())
def test_minutes_that_nobody_told_are_not_known_unless_a_recipe_states_them(told, rates, is_blend):
    planned = work_of(None, bars=1, is_blend=is_blend, minutes=None, rack_days=0)
    cost = conversion_of(expected_work(told, planned, is_blend=is_blend), rates)
    waits = bool(told.untold(is_blend=is_blend)) and bool(
        rates.labor_per_hour or rates.overhead_per_labor_hour
    )  # an hour that costs nothing costs nothing, however long it takes
    assert (cost.total is None) == cost.untold == waits
    assert cost.missed == ()
    stated = work_of(None, bars=1, is_blend=is_blend, minutes=0, rack_days=0)
    assert conversion_of(expected_work(told, stated, is_blend=is_blend), rates).total is not None


def test_the_recipe_s_time_stands_in_for_what_nobody_told():
    """90 minutes a batch, 40 of them told at the pour and 0 at the cut: 50 are left."""
    planned = work_of(None, bars=8, is_blend=False, minutes=90, rack_days=28)
    found = expected_work(Told(mix=40, cut=0), planned)
    assert (found.mix, found.cut, found.wrap, found.other) == (2400, 0, 0, 3000)
    assert expected_work(Told(mix=40, cut=0, wrap=5), planned).other == 0
    tasks = work_of(Standard(mix_minutes=45, wrap_minutes=20), bars=8, is_blend=False, minutes=90,
                    rack_days=28)  # fmt: skip
    found = expected_work(Told(mix=40), tasks)
    assert (found.mix, found.cut, found.wrap, found.other) == (2400, 0, 1200, 0)


@given(told=tolds, rates=rate_sets, seconds=st.integers(0, 10**6))
def test_a_time_that_is_stated_late_is_paid_as_any_labor(told, rates, seconds):
    same = replace(rates, mix_per_hour=None, cut_per_hour=None, wrap_per_hour=None)
    planned = work_of(None, bars=1, is_blend=False, minutes=None, rack_days=0)
    before = conversion_of(expected_work(told, planned), same)
    after = conversion_from(filled(before.lines, same, seconds=seconds))
    assert after.unknown == ()
    known = 60 * (told.minutes or 0)
    took = max(seconds, known) if told.untold(is_blend=False) else known
    whole = conversion_of(Work(other=took), same)
    assert abs(after.total - whole.total) <= 1  # labor in two parts is rounded twice
    assert conversion_from(filled(before.lines, same)) == before


def test_a_task_without_a_rate_of_its_own_is_paid_as_any_labor():
    rates = Rates(labor_per_hour=20 * UNIT, cut_per_hour=15 * UNIT)
    cost = conversion_of(Work(mix=3600, cut=3600, wrap=3600), rates)
    assert [cost.of(e) for e in (Effort.MIX, Effort.CUT, Effort.WRAP)] == [
        20 * UNIT,
        15 * UNIT,
        20 * UNIT,
    ]
    assert cost.of(Effort.LABOR) == 0 and isinstance(cost, ConversionCost)


def booked(units, costs):
    """A lot of so many units on the books, with the first cost, to which the others are added."""
    first, *others = [cost * UNIT for cost in costs]
    came = Change(Verb.RECEIVE, on_hand=units, cost=first)
    return reduce(after, [came, *(Change(Verb.ADD_COST, cost=each) for each in others)], Balance())


@pytest.mark.parametrize(
    ("pools", "done", "by_unit", "out", "left"),
    [
        (
            ((8_700, [10_179]), (7_920, [15_176, 7_000])),
            7_500,
            ("1.17", "2.80"),
            29_775,
            2_580,
        ),
        (
            ((8_250, [1_600, 8_775, 2_000]), (7_200, [6_580, 21_000, 22_100])),
            6_500,
            ("1.50", "6.90"),
            54_600,
            7_455,
        ),
    ],
)
def test_process_cost_by_the_weighted_average(pools, done, by_unit, out, left):
    """OpenStax, Principles of Accounting, Volume 2: Managerial Accounting, 5.3 and 5.4.

    Equivalent units of materials and of conversion with their costs, as printed; the ledger says
    what is transferred out with the units that are done, and what stays in the work in process.
    """
    books = [booked(units, costs) for units, costs in pools]
    taken = [taking(Verb.CONSUME, book, done) for book in books]
    averages = [MovingAverage(quantity=book.on_hand, cost=book.cost) for book in books]
    assert [each.per_unit / UNIT for each in averages] == [Fraction(unit) for unit in by_unit]
    assert -sum(each.cost for each in taken) == out * UNIT
    assert [each.cost_of(done) for each in averages] == [-each.cost for each in taken]
    rest = [after(book, change) for book, change in zip(books, taken, strict=True)]
    assert sum(book.cost for book in rest) == left * UNIT
    assert all(holds(book) for book in rest)


@given(
    lots=st.lists(st.tuples(st.integers(1, 10**6), st.integers(0, 10**6)), min_size=1, max_size=8)
)
def test_the_moving_average_lies_between_the_cheapest_and_the_dearest_lot(lots):
    held = MovingAverage(quantity=sum(q for q, _ in lots), cost=sum(c for _, c in lots))
    prices = [Fraction(cost, quantity) for quantity, cost in lots]
    assert min(prices) <= held.per_unit <= max(prices)
