"""`manage.py backup FILE`: all that the database holds as one file, while the studio is served.

Written beside FILE under another name, checked, then renamed: what is there under FILE is whole.
"""

import json
import os
import re
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection, transaction

from studio.foundation.database import BUSY_SECONDS

#: The append-only table; a copy without its triggers would let the books be rewritten.
LEDGER, LEDGER_MODEL = "inventory_stockentry", "inventory.stockentry"
PAGES_A_STEP = 5_000
#: Made anew by `migrate`, or worth nothing in another place.
LEFT_OUT = ("contenttypes", "auth.permission", "sessions")
READ_BACK = "manage.py migrate, then manage.py loaddata --format=jsonl - < FILE"


class Command(BaseCommand):
    help = "Copy the database into one file, checked, also while the studio is served."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="where the copy is to be")
        parser.add_argument(
            "--overwrite", action="store_true", help="put it in place of a file that is there"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        file: Path = options["file"].expanduser().absolute()
        _refuse_place(file, overwrite=options["overwrite"])
        try:
            with _whole_or_nothing(file) as partial:
                self._write(partial)
        except (OSError, sqlite3.Error) as error:
            raise CommandError(f"No backup was made: {error}.") from error
        self.stdout.write(f"Backed up to {file} ({file.stat().st_size:,} bytes, checked).")

    def _write(self, partial: Path) -> None:
        if connection.vendor == "sqlite":
            self._copy_sqlite(partial)
        elif shutil.which("pg_dump") and shutil.which("pg_restore"):
            self._dump_postgres(partial)
        else:
            self.stdout.write(
                "pg_dump and pg_restore are not on this machine (they come with PostgreSQL's "
                f"client): writing rows as JSON lines. They are read back with {READ_BACK}."
            )
            self._dump_rows(partial)

    def _copy_sqlite(self, partial: Path) -> None:
        """SQLite's own backup of one snapshot: writers go on, and none of theirs is cut in two."""
        here = Path(connection.settings_dict["NAME"]).absolute().as_uri()
        source = sqlite3.connect(
            f"{here}?mode=rw", uri=True, timeout=BUSY_SECONDS, isolation_level=None
        )
        copy = sqlite3.connect(partial, isolation_level=None)
        with closing(source), closing(copy):
            source.execute("BEGIN")  # read first, or each write would start the copy over
            source.execute("SELECT count(*) FROM sqlite_master").fetchone()
            source.backup(copy, pages=PAGES_A_STEP, progress=self._tell)
            # One file, without a log beside it that somebody would leave behind.
            copy.execute("PRAGMA journal_mode=DELETE")
            _check_sqlite(copy)

    def _tell(self, status: int, left: int, pages: int) -> None:
        done = 100 * (pages - left) // max(pages, 1)
        self.stdout.write(f"Copied {done} % of {pages:,} pages.")

    def _dump_postgres(self, partial: Path) -> None:
        """pg_dump, as of one moment; read back with pg_restore."""
        connection.ensure_connection()
        known = connection.connection.info
        self.stdout.write("Dumping with pg_dump; it is read back with pg_restore.")
        form = ("--format=custom", "--no-owner", "--no-privileges", f"--file={partial}")
        _run("pg_dump", *form, f"--dbname={known.dsn}", PGPASSWORD=known.password)
        listed = _run("pg_restore", "--list", str(partial))
        _refuse_unguarded(bool(re.search(rf" TRIGGER \S+ {LEDGER} ", listed)))

    def _dump_rows(self, partial: Path) -> None:
        """All rows as of one moment, a line of JSON each."""
        with transaction.atomic(durable=True), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            cursor.execute(f"SELECT count(*) FROM {LEDGER}")
            entries = cursor.fetchone()[0]
            call_command(
                "dumpdata", format="jsonl", use_natural_foreign_keys=True, exclude=LEFT_OUT,
                output=str(partial), verbosity=0,
            )  # fmt: skip
        with partial.open(encoding="utf-8") as lines:
            kept = sum(json.loads(line)["model"] == LEDGER_MODEL for line in lines)
        if kept != entries:
            raise CommandError(f"The copy holds {kept:,} of {entries:,} entries: it was not kept.")


def _refuse_place(file: Path, *, overwrite: bool) -> None:
    try:
        there = file.exists()
    except OSError as error:
        raise CommandError(f"{file} cannot be a file here: {error.strerror}.") from error
    if not file.parent.is_dir():
        raise CommandError(f"There is no folder {file.parent}: make it first.")
    if file.is_dir():
        raise CommandError(f"{file} is a folder: name a file in it.")
    if not there:
        return
    if any(own.exists() and file.samefile(own) for own in _studios_own()):
        raise CommandError(f"{file} is a file that the studio itself lives by: name another file.")
    if not overwrite:
        raise CommandError(f"{file} is there already: name another, or give --overwrite.")


def _studios_own() -> Iterator[Path]:
    """The database with its log, and the secret key."""
    yield Path(settings.VAR_DIR) / "secret_key"
    if connection.vendor == "sqlite":
        own = connection.settings_dict["NAME"]
        yield from (Path(f"{own}{part}") for part in ("", "-wal", "-shm", "-journal"))


@contextmanager
def _whole_or_nothing(file: Path) -> Iterator[Path]:
    """A new file that only its owner reads; it gets its name once it is whole and on the disk."""
    partial = file.with_name(f"{file.name}.{os.getpid()}.partial")
    os.close(os.open(partial, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    try:
        yield partial
        for path in (partial, partial.parent):
            opened = os.open(path, os.O_RDONLY)
            os.fsync(opened)
            os.close(opened)
        partial.replace(file)
    finally:
        for part in ("", "-journal", "-wal", "-shm"):
            Path(f"{partial}{part}").unlink(missing_ok=True)


def _check_sqlite(copy: sqlite3.Connection) -> None:
    (found,) = copy.execute("PRAGMA integrity_check(1)").fetchone()
    if found != "ok" or copy.execute("PRAGMA foreign_key_check").fetchone():
        raise CommandError(
            f"The copy is damaged ({found}), and so may be the database: the backup was not kept. "
            "Keep the older ones, and look with manage.py prove."
        )
    guards = "SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?"
    _refuse_unguarded(bool(copy.execute(guards, [LEDGER]).fetchone()[0]))


def _refuse_unguarded(guarded: bool) -> None:
    if not guarded:
        raise CommandError(
            "The ledger's triggers are not in the copy, so not in this database: is it the "
            "studio's, and has manage.py migrate been run? The backup was not kept."
        )


def _run(*command: str, **secret: str) -> str:
    done = subprocess.run(
        command, env=os.environ | secret, capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise CommandError(f"{command[0]} made no backup: {done.stderr.strip()}")
    return done.stdout
