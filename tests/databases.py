"""The two databases the tests run on, each restored to how it was made in milliseconds.

`default` is the only alias the code knows. For one test it is pointed at one of these. Tables are
made from the models, which takes a hundredth of the time of the migrations; one test compares
what both make.
"""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import psycopg
from django.apps import apps
from django.conf import settings
from django.contrib.contenttypes.models import ContentType
from django.core.management.sql import emit_post_migrate_signal
from django.db import connection, connections
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from studio.foundation.database import database
from tests.postgres_server import PostgresServer

#: Where PostgreSQL keeps the rows that a restored database starts with.
KEPT = "kept"


class Tested(Protocol):
    """A database under test."""

    name: str
    url: str

    def settings(self) -> dict[str, Any]: ...
    def keep(self) -> None:
        """Keep the present content as what `restore` goes back to."""

    def restore(self) -> None:
        """Put back what was kept; every connection of this thread is closed first."""

    def spare(self, folder: Path) -> "Tested":
        """An empty database of the same kind beside it, without a table."""

    def stop(self) -> None: ...


@contextmanager
def default_is(tested: Tested) -> Iterator[None]:
    """Point the alias `default` at `tested`: in this thread and in threads started meanwhile."""
    before = connections.settings["default"]
    _point_default_at(_complete(tested.settings()))
    try:
        yield
    finally:
        _point_default_at(before)


def make(tested: Tested) -> None:
    """Make an empty studio in a new database and keep it."""
    with default_is(tested):
        make_tables()
        _forget_connection()
        tested.keep()


def make_tables() -> None:
    """All tables of the models, what follows every migration, and all migrations as done."""
    with connection.schema_editor() as editor:
        for model in apps.get_models():
            if model._meta.can_migrate(connection) and not model._meta.swapped:
                editor.create_model(model)
    recorder = MigrationRecorder(connection)
    recorder.ensure_schema()
    done = MigrationLoader(None).disk_migrations
    recorder.migration_qs.bulk_create(
        recorder.Migration(app=app, name=name) for app, name in sorted(done)
    )
    emit_post_migrate_signal(verbosity=0, interactive=False, db=connection.alias)


def restore(tested: Tested) -> None:
    """Undo all that a test committed, however it was done: triggers refuse a flush."""
    _forget_connection()
    tested.restore()
    ContentType.objects.clear_cache()


def _point_default_at(wanted: dict[str, Any]) -> None:
    _forget_connection()
    connections.settings["default"] = wanted
    ContentType.objects.clear_cache()


def _forget_connection() -> None:
    connections["default"].close()
    del connections["default"]


def _complete(wanted: dict[str, Any]) -> dict[str, Any]:
    return connections.configure_settings({"default": wanted})["default"]


class Sqlite:
    """A file, because connections of threads and of other processes must see the same rows."""

    name = "sqlite"
    url = ""

    def __init__(self, folder: Path | None = None) -> None:
        self._file = (folder or Path(settings.VAR_DIR)) / "studio.sqlite3"
        self._kept = self._file.with_name("kept.sqlite3")

    def settings(self) -> dict[str, Any]:
        return database("", sqlite_file=self._file)

    def keep(self) -> None:
        shutil.copyfile(self._file, self._kept)

    def restore(self) -> None:
        # A new file, not new content: what a leaked connection still does reaches the old one.
        for part in ("", "-wal", "-shm"):
            Path(f"{self._file}{part}").unlink(missing_ok=True)
        shutil.copyfile(self._kept, self._file)

    def spare(self, folder: Path) -> "Sqlite":
        return Sqlite(folder)

    def stop(self) -> None: ...


#: What makes a schema, so far as tests change it: columns, constraints, triggers.
SHAPE = """
SELECT md5(string_agg(part, ',' ORDER BY part)) FROM (
    SELECT concat(relname, relkind, relnatts) AS part FROM pg_class
    WHERE relnamespace = 'public'::regnamespace
    UNION ALL SELECT concat(conrelid, conname) FROM pg_constraint
    WHERE connamespace = 'public'::regnamespace
    UNION ALL SELECT concat(tgrelid, tgname, tgenabled) FROM pg_trigger WHERE NOT tgisinternal
    UNION ALL SELECT concat(proname, md5(prosrc)) FROM pg_proc
    WHERE pronamespace = 'public'::regnamespace
) AS shape
"""
OTHERS = """
SELECT pg_terminate_backend(pid, 10000) FROM pg_stat_activity
WHERE datname = current_database() AND pid <> pg_backend_pid()
AND backend_type = 'client backend'
"""
TABLES = "SELECT tablename FROM pg_tables WHERE schemaname = %s ORDER BY tablename"
SEQUENCES = "SELECT sequencename, last_value FROM pg_sequences WHERE schemaname = 'public'"


class Postgres:
    """A database of its own on the server of the run.

    Restoring deletes what the tests wrote, on a connection of the harness alone and with the
    triggers off for that one transaction: making a database anew takes twenty times as long.
    """

    name = "postgres"

    def __init__(self, server: str, *, called: str, owned: PostgresServer | None = None) -> None:
        self._server = server
        self._name = called
        self.url = server.format(database=called)
        self._owned = owned
        self._harness: psycopg.Connection | None = None
        self._new_database()

    def settings(self) -> dict[str, Any]:
        return database(self.url, sqlite_file=Path())

    def keep(self) -> None:
        self._harness = psycopg.connect(self.url, autocommit=True, prepare_threshold=1)
        self._tables = self._column(TABLES, ["public"])
        self._kept = [table for table, rows in self._filled().items() if rows]
        self._harness.execute(f"CREATE SCHEMA {KEPT}")
        for table in self._kept:
            self._harness.execute(f"CREATE TABLE {KEPT}.{table} AS TABLE public.{table}")
        self._sequences = self._moved_to()
        self._shape = self._column(SHAPE)

    def restore(self) -> None:
        assert self._harness is not None
        self._harness.execute(OTHERS)
        if self._column(SHAPE) != self._shape:
            self._make_anew()
            return
        filled = [table for table, rows in self._filled().items() if rows]
        with self._harness.transaction():
            self._harness.execute("SET LOCAL session_replication_role = replica")
            for table in filled:
                self._harness.execute(f"DELETE FROM public.{table}")
            for table in self._kept:
                self._harness.execute(f"INSERT INTO public.{table} TABLE {KEPT}.{table}")
            for sequence, value in self._moved_to().items():
                if value != self._sequences[sequence]:
                    known = self._sequences[sequence]
                    self._harness.execute(
                        "SELECT setval(%s, %s, %s)", [sequence, known or 1, known is not None]
                    )

    def spare(self, folder: Path) -> "Postgres":
        return Postgres(self._server, called=f"{self._name}_spare")

    def stop(self) -> None:
        if self._harness is not None:
            self._harness.close()
        if self._owned is not None:
            self._owned.stop()

    def _make_anew(self) -> None:
        """A test has changed tables or triggers."""
        assert self._harness is not None
        self._harness.close()
        self._new_database()
        make(self)

    def _new_database(self) -> None:
        with psycopg.connect(self._server.format(database="postgres"), autocommit=True) as admin:
            admin.execute(f"DROP DATABASE IF EXISTS {self._name} WITH (FORCE)")
            admin.execute(f"CREATE DATABASE {self._name}")

    def _filled(self) -> dict[str, bool]:
        """Each table, and whether it holds a row."""
        assert self._harness is not None
        asked = " UNION ALL ".join(
            f"SELECT '{table}', EXISTS (SELECT 1 FROM public.{table})" for table in self._tables
        )
        return dict(self._harness.execute(asked).fetchall())

    def _moved_to(self) -> dict[str, int | None]:
        assert self._harness is not None
        return dict(self._harness.execute(SEQUENCES).fetchall())

    def _column(self, asked: str, values: list[str] | None = None) -> list[Any]:
        assert self._harness is not None
        return [row[0] for row in self._harness.execute(asked, values).fetchall()]
