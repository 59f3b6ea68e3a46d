"""What was used in past periods, read from the ledger."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext, override_settings

from inventory.domain.buying.demand import Period
from inventory.models.catalog.materials import Material
from inventory.queries.buying.usage import PERIODS, usage
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.inventory.using import there_since, used, used_weekly

WEEKS = PERIODS[Period.WEEK]


def ago(days):
    return TODAY - timedelta(days=days)


def used_of(*materials, period=Period.WEEK):
    return usage(on=TODAY, period=period, ids=[material.pk for material in materials])


def test_use_falls_into_the_weeks_that_end_yesterday(database):
    oil = make_material()
    lot = there_since(oil, ago(40))
    used(lot, {ago(0): 1, ago(1): 2, ago(7): 4, ago(8): 8, ago(14): 16, ago(15): 32})
    used(lot, {ago(1): 64}, verb="ship")
    found = used_of(oil)
    assert found.history[0, -3:].tolist() == [32, 24, 70]
    assert found.history.sum() == 126 and found.history.shape == (1, WEEKS)
    # 40 days ago is in the sixth week from the end.
    assert found.started.tolist() == [WEEKS - 6]
    assert found.first_day(WEEKS - 1) == ago(7)


def test_days_are_periods_too(database):
    oil = make_material()
    used(there_since(oil, ago(3)), {ago(1): 5, ago(2): 7, ago(0): 9})
    found = used_of(oil, period=Period.DAY)
    assert found.history[0, -3:].tolist() == [0, 7, 5]
    assert found.started.tolist() == [PERIODS[Period.DAY] - 3]


def test_waste_and_counts_are_no_use(database):
    oil = make_material()
    lot = there_since(oil, ago(20))
    used(lot, {ago(3): 5}, verb="spoil")
    used(lot, {ago(3): 5}, verb="count")
    assert used_of(oil).history.sum() == 0


@override_settings(TIME_ZONE="America/New_York")
def test_a_day_is_that_of_the_studio_also_when_clocks_change(database):
    # Clocks went forward on 2026-03-08; noon of each day is in that day's own period.
    oil = make_material()
    lot = there_since(oil, TODAY)
    days = [TODAY + timedelta(days=count) for count in range(14)]
    used(lot, dict.fromkeys(days, 3))
    found = usage(on=days[-1] + timedelta(days=1), period=Period.DAY, ids=[oil.pk])
    assert found.history[0, -14:].tolist() == [3] * 14


def test_a_choice_is_answered_like_all_and_in_the_order_asked_for(database):
    oils = [make_material() for _ in range(3)]
    for number, oil in enumerate(oils, start=1):
        used_weekly(oil, [number] * 5)
    never = make_material()
    ids = [oils[2].pk, never.pk, oils[0].pk]
    chosen = Material.objects.filter(pk__in=ids)
    for found in (
        usage(on=TODAY, period=Period.WEEK, ids=ids),
        usage(on=TODAY, period=Period.WEEK, ids=ids, materials=chosen),
    ):
        assert found.history.sum(axis=1).tolist() == [15, 0, 5]
        assert found.started.tolist() == [WEEKS - 5, WEEKS, WEEKS - 5]


@pytest.mark.parametrize("materials", [1, 12])
def test_use_takes_two_queries(db, materials):
    oils = [make_material() for _ in range(materials)]
    for oil in oils:
        make_lot(oil, KG)
    with CaptureQueriesContext(connection) as asked:
        used_of(*oils)
    assert len(asked) == 2


def test_a_past_that_is_entered_today_is_use_of_its_own_days(database):
    oil = make_material()
    lot = make_lot(oil, 100 * KG, received_on=ago(900))
    assert used_of(oil).started.tolist() == [WEEKS]  # a lot alone says nothing of its use
    for days in (180, 24, 10, 3):
        draw(lot.pk, days * KG // 10, origin=Origin(reference="batch:x", on=ago(days)))
    draw(lot.pk, KG, origin=Origin(reference="batch:x", on=TODAY))
    found = used_of(oil)
    weeks = {WEEKS - 1 - (days - 1) // 7: days * KG // 10 for days in (180, 24, 10, 3)}
    assert {n: int(v) for n, v in enumerate(found.history[0]) if v} == weeks
    assert found.started.tolist() == [min(weeks)]
    draw(lot.pk, KG, origin=Origin(reference="batch:x", on=ago(800)))
    older = used_of(oil)
    assert older.started.tolist() == [0] and older.history.sum() == found.history.sum()
