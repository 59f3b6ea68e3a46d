"""A studio that outgrew its file moves to PostgreSQL by Django's own dump, as README.md says."""

import psycopg
import pytest

from tests.scenarios.commands import manage
from tests.scenarios.test_demo import TABLES, counts

APART = ("contenttypes", "auth.permission", "sessions")


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_the_demonstration_moves_and_its_books_are_proved(shown, database, tmp_path):
    var, _ = shown
    dump = str(tmp_path / "studio.json")
    excluded = [word for name in APART for word in ("--exclude", name)]
    dumped = manage(var, "dumpdata", "--natural-foreign", *excluded, "-o", dump)
    assert dumped.returncode == 0, dumped.stderr
    there = {"DATABASE_URL": database.url}
    loaded = manage(tmp_path, "loaddata", dump, **there)
    assert loaded.returncode == 0, loaded.stderr
    with psycopg.connect(database.url) as connection:
        moved = {
            table: connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
            for table in TABLES
        }
    assert moved == counts(var)
    proved = manage(tmp_path, "prove", **there)
    assert proved.returncode == 0, proved.stdout + proved.stderr
