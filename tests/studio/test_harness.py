"""The harness itself: both databases are real, separate, and left as they were."""

import signal
import subprocess
import sys
import threading
from pathlib import Path

import psutil
import pytest
from django.apps import apps
from django.contrib.auth.models import Group
from django.core.management import call_command
from django.core.management.sql import emit_post_migrate_signal
from django.db import DatabaseError, connection, transaction

from inventory.models.stock.ledger import ENTRIES, MESSAGE, StockEntry
from tests.databases import default_is
from tests.inventory.making import KG, make_lot, make_material
from tests.studio.not_installed import not_installed
from tests.studio.schema import schema
from tests.waiting import eventually

ROOT = Path(__file__).resolve().parents[2]


def rows_of_all_tables():
    return {
        model._meta.label: list(model._base_manager.order_by("pk").values_list())
        for model in apps.get_models()
    }


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


def test_what_a_test_committed_is_gone_and_the_guards_still_hold(database):
    before = rows_of_all_tables()
    material = make_material("olive")
    make_lot(material, KG)
    Group.objects.create(name="written")
    assert rows_of_all_tables() != before
    database.restore()
    assert rows_of_all_tables() == before
    make_lot(make_material("olive"), KG)
    verbs = ["UPDATE inventory_stockentry SET cost = 1", "DELETE FROM inventory_stockentry"]
    if connection.vendor == "postgresql":
        verbs.append("TRUNCATE inventory_stockentry CASCADE")
    for verb in verbs:
        with pytest.raises(DatabaseError, match=MESSAGE), connection.cursor() as cursor:
            cursor.execute(verb)


def test_numbers_of_rows_start_anew(database):
    first = Group.objects.create(name="first").pk
    database.restore()
    assert Group.objects.create(name="first").pk == first


@pytest.mark.parametrize("damage", ["DROP TABLE inventory_hold", "take the guards off"])
def test_a_changed_schema_is_made_anew(database, damage):
    whole = schema()
    if damage.startswith("DROP"):
        with connection.cursor() as cursor:
            cursor.execute(damage)
    else:
        ENTRIES.take_off(connection)
    assert schema() != whole
    database.restore()
    assert schema() == whole


def test_models_and_migrations_make_the_same_database(database, tmp_path):
    """Tests run on tables made from the models; a studio's are made by the migrations."""
    with default_is(database.spare(tmp_path)):
        call_command("migrate", verbosity=0, interactive=False)
        by_migrations = schema()
    by_models = schema()
    assert by_models.keys() == by_migrations.keys()
    for part, definitions in by_models.items():
        assert definitions == by_migrations[part], part


def test_a_table_that_a_migration_rebuilds_is_guarded_afterwards(database):
    """SQLite makes a table anew to change it, and drops its triggers without a word."""
    whole = schema()
    with connection.schema_editor() as editor:
        if connection.vendor == "sqlite":
            editor._remake_table(StockEntry)
        else:
            ENTRIES.take_off(connection)
    assert schema() != whole
    emit_post_migrate_signal(verbosity=0, interactive=False, db="default")
    assert schema() == whole


STARTS_A_SERVER = """
from tests.postgres_server import PostgresServer
server = PostgresServer()
print(server.pid, flush=True)
input()
"""


#: Elsewhere the kernel is not asked to end the server with its run.
SIGNS = [signal.SIGTERM, signal.SIGKILL] if sys.platform.startswith("linux") else []


@pytest.mark.parametrize("sign", SIGNS)
def test_a_run_ended_by_a_signal_leaves_no_server(sign):
    run = subprocess.Popen(
        [sys.executable, "-c", STARTS_A_SERVER],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    server = psutil.Process(int(run.stdout.readline()))
    assert server.is_running()
    run.send_signal(sign)
    run.wait()
    eventually(lambda: not psutil.pid_exists(server.pid), what="the server has ended")


@pytest.mark.parametrize(("ci", "outcome"), [("true", "Failed"), ("", "Skipped")])
def test_a_program_that_is_missing_fails_in_ci_and_skips_elsewhere(monkeypatch, ci, outcome):
    monkeypatch.setenv("CI", ci)
    with pytest.raises(BaseException, match="no such thing is installed") as told:
        not_installed("no such thing is installed")
    assert type(told.value).__name__ == outcome
