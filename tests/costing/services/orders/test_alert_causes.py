"""Late orders: overdue ones, and those that nothing will bring in time."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.models.orders.sales import SalesOrder, SalesOrderBatch
from costing.services.orders.alert_causes import late_orders
from costing.services.orders.batches import plan_missing
from costing.services.orders.holds import cancel_rest
from inventory.models.alerts.alerts import Alert
from inventory.services.alerts.alerts import raise_alerts
from inventory.services.alerts.registry import CAUSES, Look
from tests.costing.sales_making import make_shop
from tests.recipes.making import stock

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    made = make_shop()
    stock(made.bench)
    return made


def found(days=0):
    return late_orders(Look(on=timezone.localdate() + timedelta(days=days)))


def due(order, days):
    day = timezone.localdate() + timedelta(days=days)
    SalesOrder.objects.filter(pk=order.pk).update(due_on=day)


def test_what_is_held_or_ready_in_time_is_not_late(shop):
    shop.cured(5)
    order = shop.order(12, plan=True)  # 28 days of cure, due in 60
    assert found() == []
    due(order, 20)
    (late,) = found()
    assert late.subject == f"order:{order.code}"
    assert "7 bars are ready only on" in late.reason
    assert late.figures["ready_on"] > late.figures["due_on"]


def test_what_nothing_brings_is_late_before_its_day(shop):
    order = shop.order(12)
    (late,) = found()
    assert "12 bars are neither held nor being made" in late.reason
    plan_missing(order.code)
    assert found() == []
    SalesOrderBatch.objects.filter(line__order=order).first().delete()
    assert len(found()) == 1


def test_what_has_not_left_by_its_day_is_late_until_it_closes(shop):
    shop.cured(12)
    order = shop.order(12)
    assert found() == []
    (late,) = found(days=61)
    assert "1 day ago: 12 bars have not left" in late.reason
    cancel_rest(order.code)
    assert found(days=61) == []


def test_the_alert_is_raised_and_registered(shop):
    shop.order(3)
    assert CAUSES.get("order-late").headline(["order SO-1"]) == "order SO-1 is late"
    raise_alerts(now=timezone.now())
    assert Alert.objects.get(kind="order-late").name == "order SO-00001"


def test_the_look_asks_the_same_however_many_orders(shop):
    asked = []
    for count in (1, 4):
        for _ in range(count):
            shop.order(3, 2, plan=True)
        with CaptureQueriesContext(connection) as queries:
            found()
        asked.append(len(queries))
    assert asked[0] == asked[1] <= 12
