"""Stock day by day from lots, orders, plans, reservations and use."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import Material
from inventory.queries.buying.projection import project_materials
from inventory.queries.stock.positions import stock_positions
from inventory.services.buying.policy import change_aims
from inventory.services.buying.requirements import expect, require
from inventory.services.stock.reservations import Holding, reserve
from tests.inventory.buying import a_supplier, an_offer, an_oil, an_order
from tests.inventory.making import KG, TODAY, make_lot
from tests.inventory.using import used_weekly


def on(days):
    return TODAY + timedelta(days=days)


def projected(*, days=30):
    return project_materials(on=TODAY, days=days)


def test_all_that_is_known_moves_the_stock_on_its_day(database):
    oil = an_oil()
    make_lot(oil, 5 * KG)
    make_lot(oil, 1 * KG, best_before=on(2))
    make_lot(oil, 9 * KG, state=LotState.QUARANTINE)
    require({oil.pk: 4 * KG}, holder="batch:1", due_on=on(3))
    require({oil.pk: 3 * KG}, holder="batch:2", due_on=on(6))
    reserve(Holding(needs={oil.pk: 3 * KG}, holder="batch:2", on=TODAY))
    expect({oil.pk: 1 * KG}, holder="batch:3", due_on=on(8))
    order = an_order(an_offer(a_supplier(), oil, "5 kg"), 1, expected_on=on(10))
    found = projected()
    assert found.stock.opening.tolist() == [6 * KG]
    assert (found.planned[0, 3], found.reserved[0, 6]) == (4 * KG, 3 * KG)
    assert (found.being_made[0, 8], found.on_order[0, 10]) == (KG, 5 * KG)
    assert found.stock.expiring[0].tolist() == [0] * 3 + [KG] + [0] * 26
    balances = [6, 6, 6, 1, 1, 1, -2, -2, -1, -1, 4]
    assert [each // KG for each in found.stock.balance[0, :11]] == balances
    assert found.stock.first_short.tolist() == [6] and found.stock.cover.tolist() == [6]
    assert found.day(10) == order.expected_on


def test_the_last_day_agrees_with_the_position(database):
    oil = an_oil()
    lot = make_lot(oil, 9 * KG)
    reserve(Holding(needs={oil.pk: 2 * KG}, holder="batch:undated", on=TODAY))
    require({oil.pk: 3 * KG}, holder="batch:1", due_on=on(-4))
    reserve(Holding(needs={oil.pk: 1 * KG}, holder="batch:1", on=TODAY))
    expect({oil.pk: 5 * KG}, holder="batch:2", due_on=on(5))
    an_order(an_offer(a_supplier(), oil, "5 kg"), 2)
    position = stock_positions(on=TODAY)[oil.pk]
    found = projected()
    assert found.stock.balance[0, -1] == position.projected == 19 * KG
    # Nobody said when the undated is needed, and the other is overdue: both count today.
    assert (found.reserved[0, 0], found.planned[0, 0]) == (3 * KG, 2 * KG)
    assert lot.on_hand == position.on_hand == found.stock.opening[0]


def test_what_is_held_in_a_blocked_lot_is_needed_all_the_same(database):
    oil = an_oil()
    lot = make_lot(oil, 5 * KG)
    reserve(Holding(needs={oil.pk: 2 * KG}, holder="batch:1", on=TODAY))
    type(lot).objects.filter(pk=lot.pk).update(state=LotState.BLOCKED.value)
    found = projected(days=3)
    assert found.stock.balance[0].tolist() == [-2 * KG] * 3


def test_late_orders_count_today_and_are_named(database):
    oil = an_oil()
    an_order(an_offer(a_supplier(), oil, "5 kg"), 1, ordered_on=on(-9), expected_on=on(-2))
    found = projected(days=5)
    assert (found.on_order[0, 0], found.late.tolist()) == (5 * KG, [5 * KG])


def test_use_is_expected_beyond_what_is_planned(database):
    oil = an_oil()
    used_weekly(oil, [7 * KG] * 12)
    require({oil.pk: 9 * KG}, holder="batch:1", due_on=on(8))
    require({oil.pk: 2 * KG}, holder="batch:2", due_on=on(15))
    found = projected(days=21)
    by_week = found.forecast.reshape(3, 7).sum(axis=1)
    assert by_week.tolist() == [7 * KG, 0, 5 * KG]
    assert found.forecasts[0].errors.tested == 8 and found.forecasts[0].errors.mae == 0
    # A plan later in the last week counts for it, though the horizon ends before.
    assert projected(days=15).forecast[0, 14:].tolist() == [5 * KG // 7]


def test_stock_expires_when_no_time_is_left_to_use_it(database):
    oil = an_oil(shelf_life_days=40)
    make_lot(oil, 3 * KG, best_before=on(20))
    an_order(an_offer(a_supplier(), oil, "5 kg"), 1, expected_on=on(4))
    assert projected().stock.expiring[0].nonzero()[0].tolist() == [21]
    change_aims(None, {"time_to_use_days": 15})
    found = projected()
    # 20 - 15 days for the lot; what comes on day 4 may be used for 40 - 15 days.
    assert found.stock.expiring[0].nonzero()[0].tolist() == [6]
    change_aims(oil, {"time_to_use_days": 30})
    found = projected()
    assert found.stock.expiring[0].nonzero()[0].tolist() == [0, 15]
    assert found.stock.expiring[0, [0, 15]].tolist() == [3 * KG, 5 * KG]


def test_a_choice_is_projected_like_all_and_in_order_of_code(database):
    oils = [an_oil(f"oil-{letter}") for letter in "cab"]
    for number, oil in enumerate(oils, start=1):
        used_weekly(oil, [number * KG] * 6)
        make_lot(oil, 10 * number * KG)
    everything = projected()
    assert [each.code for each in everything.materials] == ["oil-a", "oil-b", "oil-c"]
    for chosen in ([oils[0].pk, oils[1].pk], Material.objects.filter(code__in=["oil-c", "oil-a"])):
        found = project_materials(on=TODAY, days=30, materials=chosen)
        assert [each.code for each in found.materials] == ["oil-a", "oil-c"]
        assert (found.stock.balance == everything.stock.balance[[0, 2]]).all()


@pytest.mark.parametrize("materials", [1, 20])
def test_eight_queries_for_any_number_of_materials(database, materials):
    for number in range(materials):
        oil = an_oil()
        make_lot(oil, KG)
        require({oil.pk: KG}, holder=f"batch:{number}", due_on=on(3))
        an_order(an_offer(a_supplier(), oil, "5 kg"), 1)
    with CaptureQueriesContext(connection) as asked:
        assert len(projected().materials) == materials
    assert len(asked) == 8


def test_nothing_is_projected_as_nothing(db):
    found = projected()
    assert len(found.materials) == 0 and found.stock.balance.shape == (0, 30)
