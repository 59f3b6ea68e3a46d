"""The harness itself: both databases are real, separate, and left as they were."""

import threading

import pytest
from django.contrib.auth.models import Group
from django.db import connection, transaction


@pytest.mark.parametrize("turn", [1, 2])
def test_each_test_starts_from_the_migrated_state(database, turn):
    assert not Group.objects.exists()
    Group.objects.create(name="left behind")


def test_vendor_is_the_one_asked_for(database):
    assert connection.vendor == {"sqlite": "sqlite", "postgres": "postgresql"}[database.name]


def test_threads_see_what_was_committed(database):
    Group.objects.create(name="seen")
    seen = []

    def look():
        seen.append((connection.vendor, Group.objects.filter(name="seen").exists()))
        connection.close()

    thread = threading.Thread(target=look)
    thread.start()
    thread.join()
    assert seen == [(connection.vendor, True)]


@pytest.mark.postgres
def test_marked_tests_run_on_postgresql_alone(db):
    assert connection.vendor == "postgresql"
    assert not Group.objects.exists()


def test_restoring_within_a_test(database):
    with transaction.atomic():
        Group.objects.create(name="example")
    database.restore()
    assert not Group.objects.exists()


def test_plain_tests_run_on_sqlite(db):
    assert connection.vendor == "sqlite"
    assert not Group.objects.exists()
