"""SQLite writes ahead (WAL), so that readers do not wait for the writer."""

import random
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
