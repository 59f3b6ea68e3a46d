"""Reorder points, safety stock and what to buy: published examples, and laws."""

import math
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.buying.backtest import Errors, Forecast
from inventory.domain.buying.demand import Period
from inventory.domain.buying.lot_sizing import economic_order_quantity
from inventory.domain.buying.policy import (
    Aims,
    DailyDemand,
    LeadTime,
    LeadTimeSource,
    Pack,
    daily,
    learned_lead_time,
    purchase_of,
    reorder_point,
    safety_factor,
    suggest,
)
from studio.foundation.errors import InvalidInput

levels = st.floats(0.5, 0.999)
numbers = st.floats(0, 1e6, allow_nan=False)
demands = st.builds(DailyDemand, mean=numbers, sd=numbers)
lead_times = st.builds(LeadTime, mean=st.floats(0, 200), sd=st.floats(0, 60))
packs = st.lists(
    st.builds(
        Pack,
        offer=st.uuids().map(str),
        amount=st.integers(1, 5000),
        price=st.integers(1, 10**6),
        minimum=st.integers(1, 5),
    ),
    min_size=1,
    max_size=5,
)


def test_the_carpet_with_variable_demand():
    # Source: Introduction to Management Science, chapter 16 (inventory), reorder point with
    # variable demand; its table gives z = 1.65, the quantile is 1.644854 and leads to 326.007.
    found = reorder_point(demand=DailyDemand(mean=30, sd=5), lead_time=LeadTime(mean=10), z=1.65)
    assert found.safety_stock == pytest.approx(26.1, abs=0.05)
    assert found.point == pytest.approx(326.1, abs=0.05)
    exact = reorder_point(
        demand=DailyDemand(mean=30, sd=5), lead_time=LeadTime(mean=10), z=safety_factor(0.95)
    )
    assert exact.point == pytest.approx(326.007, abs=0.0005)


def test_lead_time_demand_with_a_risk_of_three_percent():
    # Source: Operations Management, 14th ed., chapter 12, example 8: mean 50, deviation 5.
    demand, a_day = DailyDemand(mean=50, sd=5), LeadTime(mean=1)
    found = reorder_point(demand=demand, lead_time=a_day, z=1.88)
    assert found.safety_stock == pytest.approx(9.4, abs=0.005)
    assert found.point == pytest.approx(59.4, abs=0.005)
    assert safety_factor(0.97) == pytest.approx(1.880794, abs=1e-6)


def test_the_policy_of_the_textbook_with_a_shortage_cost():
    # Source: stockpyl 1.0.2, rq: economic quantity plus safety stock. A year is the unit of time;
    # the service level is p / (p + h).
    holding, shortage = 0.225, 7.5
    found = reorder_point(
        demand=DailyDemand(mean=1300, sd=150),
        lead_time=LeadTime(mean=1 / 12),
        z=safety_factor(shortage / (shortage + holding)),
    )
    assert found.point == pytest.approx(190.3369965715624, abs=1e-6)
    quantity = economic_order_quantity(demand=1300, order_cost=8, holding_cost=holding).quantity
    assert quantity == pytest.approx(304.0467800264368, abs=1e-6)


@given(demand=demands, lead_time=lead_times, lower=levels, higher=levels)
def test_a_higher_service_level_never_lowers_the_point(demand, lead_time, lower, higher):
    low, high = sorted((lower, higher))
    points = [
        reorder_point(demand=demand, lead_time=lead_time, z=safety_factor(level)).point
        for level in (low, high)
    ]
    assert points[0] <= points[1]


@given(demand=demands, lead_time=lead_times, longer=st.floats(0, 100), level=levels)
def test_a_longer_or_less_certain_lead_time_never_lowers_the_point(
    demand, lead_time, longer, level
):
    z = safety_factor(level)
    base = reorder_point(demand=demand, lead_time=lead_time, z=z).point
    for later in (
        LeadTime(mean=lead_time.mean + longer, sd=lead_time.sd),
        LeadTime(mean=lead_time.mean, sd=lead_time.sd + longer),
    ):
        assert reorder_point(demand=demand, lead_time=later, z=z).point >= base * (1 - 1e-12)


@given(demand=demands, lead_time=lead_times, level=levels)
def test_the_variance_of_lead_time_demand_is_the_sum_of_both_parts(demand, lead_time, level):
    found = reorder_point(demand=demand, lead_time=lead_time, z=safety_factor(level))
    variance = lead_time.mean * demand.sd**2 + demand.mean**2 * lead_time.sd**2
    assert found.sd**2 == pytest.approx(variance)
    assert found.point == pytest.approx(found.expected + found.safety_stock)
    assert found.safety_stock >= 0


def test_certain_demand_and_lead_time_need_no_safety_stock():
    found = reorder_point(demand=DailyDemand(mean=7, sd=0), lead_time=LeadTime(mean=5), z=3)
    assert (found.safety_stock, found.point) == (0, 35)


def test_lead_times_are_learned_from_three_deliveries_or_more():
    assert learned_lead_time([5, 9], LeadTimeSource.MATERIAL) is None
    found = learned_lead_time([5, 9, 10], LeadTimeSource.SUPPLIER)
    assert (found.mean, found.sample, found.source) == (8, 3, LeadTimeSource.SUPPLIER)
    assert found.sd == pytest.approx(math.sqrt((9 + 1 + 4) / 2))


@pytest.mark.parametrize("level", [0, 1, -0.5, 95, math.nan])
def test_a_service_level_that_is_no_chance_is_refused(level):
    with pytest.raises(InvalidInput):
        safety_factor(level)


def test_numbers_below_zero_are_refused():
    for demand, lead_time in (
        (DailyDemand(mean=-1, sd=0), LeadTime(mean=1)),
        (DailyDemand(mean=1, sd=0), LeadTime(mean=-1)),
    ):
        with pytest.raises(InvalidInput):
            reorder_point(demand=demand, lead_time=lead_time, z=1)


def cost_of(pack, count, *, yearly, aims):
    amount = count * pack.amount
    held = float(aims.holding_share) * pack.unit_price * amount / 2
    return pack.unit_price * yearly + aims.order_cost * yearly / amount + held


@given(packs=packs, yearly=st.floats(1, 1e6), order_cost=st.integers(1, 10**6))
def test_what_to_buy_is_whole_packs_and_close_to_the_cheapest(packs, yearly, order_cost):
    aims = Aims(order_cost=order_cost)
    found = purchase_of(packs, yearly=yearly, aims=aims, keeps_days=None)
    (way,) = [pack for pack in packs if pack.offer == found.offer]
    assert found.amount == found.packs * way.amount and found.packs >= way.minimum
    assert found.amount >= found.ideal * (1 - 1e-9) and not found.kept_short
    assert found.amount - found.ideal < way.amount * (1 + 1e-9)
    assert found.annual_cost == pytest.approx(cost_of(way, found.packs, yearly=yearly, aims=aims))


@given(packs=packs, yearly=st.floats(1, 1e6), keeps=st.integers(0, 900))
def test_no_more_is_bought_than_is_used_while_it_keeps(packs, yearly, keeps):
    found = purchase_of(packs, yearly=yearly, aims=Aims(), keeps_days=keeps)
    used = yearly / 365 * keeps
    least = min(pack.from_quantity for pack in packs)
    assert found.kept_short == (found.amount > used)
    assert found.amount <= max(used, least)


def test_a_larger_can_is_bought_when_it_is_worth_it():
    small = Pack(offer="small", amount=1_000, price=1_000)
    large = Pack(offer="large", amount=20_000, price=15_000)
    dear = Pack(offer="dear", amount=25_000, price=30_000)
    much, little = (
        purchase_of([dear, large, small], yearly=yearly, aims=Aims(order_cost=200), keeps_days=None)
        for yearly in (100_000, 2_000)
    )
    assert (much.offer, little.offer) == ("large", "small")
    # 2 K D / h with h = 0.25 x 1: the root of 3,200,000 is 1,788.9, two packs.
    assert (little.ideal, little.packs) == (pytest.approx(1788.854), 2)


def test_a_suggestion_shows_the_numbers_behind_it():
    aims = Aims(service_level=Decimal("0.95"), order_cost=200, time_to_use_days=30)
    found = suggest(
        demand=DailyDemand(mean=30, sd=5),
        lead_times={"roll": LeadTime(mean=10), "slow": LeadTime(mean=90)},
        packs=[Pack(offer="roll", amount=100, price=1_000), Pack(offer="slow", amount=1, price=90)],
        aims=aims,
        shelf_life_days=40,
    )
    assert found.lead_time.mean == 10 and found.reorder_point == 327
    # Used while it keeps (40 - 30 days): 300, less than the economic quantity of 1,324.
    assert (found.purchase.packs, found.purchase.ideal) == (3, pytest.approx(1323.6, abs=0.1))
    assert found.reorder_to == 627 and found.gaps == ()


def test_what_is_missing_is_named():
    demand, slow = DailyDemand(mean=3, sd=1), {"a": LeadTime(mean=1), "b": LeadTime(mean=4)}
    bare = {"packs": [], "aims": Aims()}
    assert suggest(demand=None, lead_times={}, **bare).gaps == (
        "no-use",
        "no-lead-time",
        "no-priced-offer",
    )
    idle = suggest(demand=DailyDemand(mean=0, sd=0), lead_times=slow, **bare)
    assert "no-use" in idle.gaps and (idle.reorder_point, idle.reorder_to) == (None, None)
    unpriced = suggest(demand=demand, lead_times=slow, **bare)
    assert unpriced.gaps == ("no-priced-offer",) and unpriced.lead_time.mean == 4
    assert unpriced.reorder_to == unpriced.reorder_point == 16
    free = Pack(offer="gift", amount=5, price=0)
    assert purchase_of([free], yearly=10, aims=Aims(), keeps_days=None) is None


def test_a_week_is_seven_days_alike():
    forecast = Forecast(
        method="mean",
        constants="",
        coming=(14.0,),
        periods=9,
        mean=14.0,
        sd=2.0,
        errors=Errors(tested=0),
    )
    found = daily(forecast, Period.WEEK)
    assert (found.mean, found.sd) == (2, pytest.approx(2 / math.sqrt(7)))
    # The errors of the forecast, where they are known, say more than the spread of the use.
    tested = replace(forecast, errors=Errors(tested=8, rmse=5.0))
    assert daily(tested, Period.DAY).sd == 5
    # Weeks on the shelf without any use tell nothing of the use: it is not known, not zero.
    assert daily(replace(forecast, mean=0.0, coming=(0.0,)), Period.WEEK) is None
