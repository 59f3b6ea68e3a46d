"""Buy plans: what the solver calls cheapest, beside every plan there is."""

from collections import Counter
from dataclasses import replace
from itertools import combinations, pairwise, product

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from inventory.domain.buying.plan import Need, Outcome
from inventory.domain.buying.solve import solve
from inventory.domain.catalog.packs import PriceBreak, pack_price
from studio.foundation.errors import InvalidInput
from tests.inventory.domain.buying.buy_problems import (
    DAY,
    every_plan,
    material,
    offer,
    on,
    problem,
    small_problems,
    supplier,
)


def packs_of(plan):
    return {(line.offer, order.order_on): line.packs for order, line in plan.lines}


def packs_by_offer(packs):
    found = Counter()
    for (code, _), count in packs.items():
        found[code] += count
    return found


@settings(max_examples=50)
@given(small_problems())
def test_no_plan_is_cheaper_and_the_runner_up_is_the_cheapest_other(asked):
    plans = list(every_plan(asked))
    found = solve(asked)
    if not plans:
        assert found.unmet
        return
    best = min(cost for cost, _ in plans)
    assert (found.outcome, found.unmet) == (Outcome.PROVEN, ())
    assert (found.plan.cost.total, found.bound, found.gap) == (best, best, 0)
    assert (best, packs_of(found.plan)) in plans
    chosen = packs_by_offer(packs_of(found.plan))
    others = [cost for cost, packs in plans if packs_by_offer(packs) != chosen]
    if found.runner_up is None:
        assert found.runner_up_proven and not others
    else:
        assert found.runner_up.cost.total == min(others)
        assert packs_by_offer(packs_of(found.runner_up)) != chosen


@settings(max_examples=25, suppress_health_check=[HealthCheck.filter_too_much])
@given(small_problems())
def test_the_fewest_needs_are_left_unmet_and_each_says_why(asked):
    found = solve(asked, runner_up=False)
    assume(found.unmet)
    count = len(asked.needs)
    possible = min(
        number
        for number in range(count + 1)
        for left_out in combinations(range(count), number)
        if any(True for _ in every_plan(replace(asked, left_out=frozenset(left_out))))
    )
    assert len(found.unmet) == possible
    assert all(each.obstacles and each.obstacles[0].message for each in found.unmet)
    rest = replace(asked, left_out=indexes(asked.needs, [each.need for each in found.unmet]))
    assert found.plan.cost.total == min(cost for cost, _ in every_plan(rest))


def indexes(needs, unmet):
    """Where these needs stand; by identity, since two needs may be alike."""
    return frozenset(n for n, need in enumerate(needs) if any(need is each for each in unmet))


def cost_of_plan(plan, demand, setup, holding):
    """Setup and holding of a plan by plain bookkeeping; None when it runs short."""
    stock = total = 0
    for ordered, needed in zip(plan, demand, strict=True):
        stock += ordered - needed
        if stock < 0:
            return None
        total += (setup if ordered else 0) + holding * stock
    return total


def cheapest_of_all(demand, setup, holding):
    """Every choice of periods to order in, each order up to the next."""
    costs = []
    for chosen in product([False, True], repeat=len(demand)):
        orders = [period for period, ordered in enumerate(chosen) if ordered]
        plan = [0] * len(demand)
        for start, end in pairwise([*orders, len(demand)]):
            plan[start] = sum(demand[start:end])
        costs.append(cost_of_plan(plan, demand, setup, holding))
    return min(cost for cost in costs if cost is not None)


@settings(max_examples=40)
@given(
    demand=st.lists(st.integers(0, 40), min_size=1, max_size=6).filter(any),
    setup=st.integers(0, 200),
    holding=st.integers(0, 4),
    pack=st.integers(1, 3),
)
@example(demand=[90, 120, 80, 70], setup=500, holding=2, pack=1)
def test_one_supplier_and_one_material_are_wagner_and_whitins_case(demand, setup, holding, pack):
    """Packs of one unit cost exactly what lot sizes without packs do; larger packs never less.

    The example is printed in the documentation of a published library after a textbook: 1380.
    """
    days = range(len(demand))
    asked = problem(
        needs=[Need(material="olive", amount=a, due=on(d)) for d, a in enumerate(demand) if a],
        offers=[offer(pack=pack, price=0)],
        suppliers=(supplier(handling=setup),),
        materials=(material(holding_per_day=holding),),
        order_dates=tuple(on(day) for day in days),
        horizon=on(len(demand) - 1),
    )
    found = solve(asked, runner_up=False)
    lot_by_lot = cheapest_of_all(demand, setup, holding)
    assert found.outcome is Outcome.PROVEN
    if pack == 1:
        assert found.plan.cost.total == lot_by_lot
    else:
        assert found.plan.cost.total >= lot_by_lot
    if demand == [90, 120, 80, 70]:
        assert found.plan.cost.total == 1380


#: Price tables of two published exercises on discounts for all units: (from, price of each).
TEXTBOOK = [(1, 500), (200, 475), (500, 450)]
LEAST_COST = [(1, 53.0), (50, 51.5), (100, 49.5), (200, 48.0), (500, 47.0)]


@pytest.mark.parametrize("table", [TEXTBOOK, LEAST_COST])
@pytest.mark.parametrize("needed", [1, 49, 79, 97, 100, 190, 193, 195, 200, 475, 495, 700])
def test_a_need_is_bought_at_the_printed_price_that_makes_it_cheapest(table, needed):
    """Also when that takes more than is needed: 200 at 48.00 are less than 195 at 49.50."""
    steps = [PriceBreak(start, round(price * 10_000)) for start, price in table]
    asked = problem(
        needs=[Need(material="olive", amount=needed, due=DAY)],
        offers=[offer(price=steps[0].price, breaks=tuple(steps[1:]))],
    )
    found = solve(asked, runner_up=False)
    ((_, line),) = found.plan.lines
    prices = {
        n: n * next(p for start, p in reversed(table) if n >= start) for n in range(needed, 701)
    }
    assert line.price == found.plan.cost.total == round(min(prices.values()) * 10_000)
    assert prices[line.packs] == min(prices.values())
    assert line.pack_price == pack_price(line.packs, price=steps[0].price, breaks=steps[1:])


@pytest.mark.parametrize(
    ("terms", "offered", "packs"),
    [
        # Of the one that is needed the goods must be worth 1,000: a hundred at 10, eleven at 99.
        ({"minimum_order": 1000}, {"price": 10}, 100),
        ({"minimum_order": 1000}, {"price": 99}, 11),
        # At 5 each from 50 on that are 200; 48 at 21 would cost 1,008, and 49 at 11 too little.
        ({"minimum_order": 1000}, {"price": 21, "breaks": (PriceBreak(50, 5),)}, 200),
        ({"minimum_order": 1000}, {"price": 11, "breaks": (PriceBreak(50, 5),)}, 200),
        # The supplier sells 40 packs at least, whatever they are worth.
        ({}, {"price": 10, "minimum_packs": 40}, 40),
        # Freight of 2,000 is saved by goods worth 1,500, and not by goods worth 2,100.
        ({"freight": 2000, "free_freight_from": 1500}, {"price": 10}, 150),
        ({"freight": 2000, "free_freight_from": 2100}, {"price": 10}, 1),
    ],
)
def test_a_suppliers_least_far_above_the_need_is_bought(terms, offered, packs):
    asked = problem(
        needs=[Need(material="olive", amount=1, due=DAY)],
        offers=[offer(**offered)],
        suppliers=(supplier(**terms),),
    )
    found = solve(asked)
    assert (found.outcome, found.unmet) == (Outcome.PROVEN, ())
    ((_, line),) = found.plan.lines
    assert line.packs == packs
    assert line.price == found.plan.cost.goods == packs * line.pack_price
    # Another number of packs is possible too, and costs more.
    assert found.runner_up is not None and found.runner_up.cost.total >= found.plan.cost.total


def unmet_codes(asked):
    return [[o.code for o in each.obstacles] for each in solve(asked, runner_up=False).unmet]


def need(amount=5, due=10, code="olive"):
    return Need(material=code, amount=amount, due=on(due))


def test_each_kind_of_conflict_is_called_by_its_name():
    plain = problem(needs=[need()], offers=[offer(pack=2, lead_days=4)])
    rules = plain.rules
    assert unmet_codes(plain) == []
    cases = {
        "no-offer": replace(plain, offers=()),
        "blocked": replace(plain, rules=replace(rules, blocked=frozenset({"hill"}))),
        "too-late": replace(plain, offers=(offer(lead_days=11),)),
        "not-current": replace(plain, offers=(offer(valid_until=on(-1)),)),
        "space": replace(plain, materials=(material(space=5),)),
        "shelf-life": replace(plain, materials=(material(keeps_days=2, use_per_day=0),)),
        "budget": replace(plain, rules=replace(rules, budget=29)),
        "single-source": replace(
            plain,
            needs=(need(1, due=1), need(5, due=10)),
            offers=(offer("a", valid_until=DAY, pack=9), offer("b", supplier="lake", pack=2)),
            suppliers=(supplier(minimum_order=0), supplier("lake")),
            materials=(material(space=7),),
            rules=replace(rules, single_source=True),
        ),
    }
    # The need of 5 takes three packs of 2, one more than shelf and shelf life leave room for.
    for code, asked in cases.items():
        if code == "single-source":
            continue
        assert unmet_codes(asked) == [[code]], code


def test_needs_that_conflict_with_others_say_so():
    asked = problem(
        needs=[need(5), need(5, code="shea")],
        offers=[offer(), offer("shea-1", material="shea")],
        materials=(material(), material("shea")),
    )
    tight = replace(asked, rules=replace(asked.rules, budget=70))
    (unmet,) = solve(tight).unmet
    assert [o.code for o in unmet.obstacles] == ["budget"]
    assert "beside the other needs" in unmet.obstacles[0].message


def test_a_late_offer_says_when_it_had_to_be_ordered():
    asked = problem(needs=[need(due=3)], offers=[offer(lead_days=5)])
    (unmet,) = solve(asked).unmet
    assert str(on(-2)) in unmet.obstacles[0].message


def test_amounts_that_differ_by_less_than_the_solver_can_tell_are_kept_apart():
    """30 kg less one nanogram do not meet a need of 30 kg, whatever a tolerance says."""
    kg = 10**12
    asked = problem(
        needs=[need(30 * kg)],
        offers=[
            offer("short", pack=10 * kg - 1, price=10),
            offer("whole", pack=10 * kg, price=11),
        ],
    )
    found = solve(asked)
    assert found.outcome is Outcome.PROVEN
    assert sum(line.amount for _, line in found.plan.lines) >= 30 * kg
    assert found.plan.cost.total == 33


def test_what_cannot_be_stated_is_refused():
    asked = problem(needs=[need()], offers=[offer()])
    for wrong in (
        replace(asked, needs=(need(0),)),
        replace(asked, needs=(need(code="nothing"),)),
        replace(asked, order_dates=()),
        replace(asked, order_dates=(on(1), on(0))),
        replace(asked, horizon=on(1)),
        replace(asked, offers=(offer(price=2**52),)),
    ):
        with pytest.raises(InvalidInput):
            solve(wrong)


def test_nothing_needed_is_nothing_bought():
    asked = problem(needs=[need()], offers=[offer()])
    found = solve(replace(asked, needs=()))
    assert (found.outcome, found.plan.orders, found.gap) == (Outcome.PROVEN, (), 0)


def test_out_of_time_still_tells_what_was_found():
    asked = problem(
        needs=[need(n % 7 + 5, code=f"m{n}") for n in range(30)],
        materials=tuple(material(f"m{n}") for n in range(30)),
        suppliers=tuple(supplier(f"s{n}", handling=40, minimum_order=300) for n in range(5)),
        offers=[
            offer(f"{n}-{s}", material=f"m{n}", supplier=f"s{s}", pack=1 + (n + s) % 4, price=9 + s)
            for n in range(30)
            for s in range(5)
        ],
    )
    found = solve(asked, time_limit=0.0, runner_up=False)
    assert found.outcome is not Outcome.PROVEN or found.gap == 0
    assert found.plan is None or found.gap >= 0
