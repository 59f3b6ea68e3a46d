"""SQLite writes ahead, so that readers do not wait; how many values a statement may carry."""

import random
import sqlite3
import time
from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.signals import connection_created
from django.db.utils import OperationalError

#: How long an opening process waits for others that open the same new file.
PATIENCE_SECONDS = 20


def write_ahead() -> None:
    """Switch the file of each new SQLite connection to its write-ahead log."""
    connection_created.connect(_switch, dispatch_uid="sqlite-journal")


def _switch(connection: BaseDatabaseWrapper, **_: Any) -> None:
    if connection.vendor != "sqlite":
        return
    patience = time.monotonic() + PATIENCE_SECONDS
    while True:
        try:
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA journal_mode=WAL")
            return
        except OperationalError:
            # The first switch of a file needs it alone, and for that SQLite itself does not wait:
            # of several processes that open a new file at once, the others are refused.
            if time.monotonic() > patience:
                raise
            time.sleep(random.uniform(0.005, 0.05))


def _ask_the_limit(connection: Any, **_: Any) -> None:
    if connection.vendor == "sqlite":
        connection.features.max_query_params = connection.connection.getlimit(
            sqlite3.SQLITE_LIMIT_VARIABLE_NUMBER
        )


def use_the_real_limit() -> None:
    """Let each new SQLite connection insert as many rows a statement as SQLite really takes.

    Django 5.2 assumes 999 values, as SQLite once had, and would write a large reservation in
    several statements; later versions of Django ask SQLite as is done here.
    """
    connection_created.connect(_ask_the_limit, dispatch_uid="sqlite-limit")
