"""Tasks are done by a real worker process, over the real embedded broker, on both databases."""

from pathlib import Path

import pytest
from celery import current_app
from django.conf import settings
from django.contrib.auth.models import Group

from studio.celery import app
from studio.work import broker
from tests.probe import leave_a_row
from tests.threads import at_once


@pytest.mark.worker
def test_a_worker_does_what_was_sent(live_worker):
    leave_a_row.delay("done by the worker")
    live_worker.wait_until(
        Group.objects.filter(name="done by the worker").exists, what="the row is there"
    )


@pytest.mark.worker
def test_no_task_is_lost_or_torn_when_many_send_at_once(live_worker):
    names = [f"task {number}" for number in range(16)]
    at_once(leave_a_row.delay, names)
    live_worker.wait_until(lambda: Group.objects.count() == len(names), what="all rows are there")
    assert "Traceback" not in live_worker.log()


def test_a_thread_of_the_web_server_sends_to_the_same_broker():
    assert (
        at_once(lambda _: current_app.conf.broker_url, [1, 2]) == [settings.CELERY_BROKER_URL] * 2
    )


def test_the_round_of_alerts_is_scheduled_and_does_not_pile_up():
    entry = app.conf.beat_schedule["raise-alerts"]
    assert entry["task"] == "inventory.tasks.raise_alerts"
    assert entry["options"]["expires"] <= entry["schedule"].total_seconds()


def test_every_scheduled_task_exists():
    app.loader.import_default_modules()
    assert {entry["task"] for entry in app.conf.beat_schedule.values()} <= set(app.tasks)


def test_redis_waits_longer_than_the_longest_task():
    options = broker.transport_options("redis://cache:6379/0", folder=Path("unused"))
    assert options["visibility_timeout"] > app.conf.task_time_limit
    assert app.conf.task_soft_time_limit < app.conf.task_time_limit


def test_a_killed_workers_task_goes_back():
    assert app.conf.task_acks_late and app.conf.task_reject_on_worker_lost
    assert app.conf.worker_prefetch_multiplier == 1


def test_moments_in_messages_and_logs_are_utc():
    assert str(app.timezone) == "UTC"
