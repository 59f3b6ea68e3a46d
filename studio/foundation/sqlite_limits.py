"""How many values one SQLite statement may carry: asked from SQLite, not assumed."""

import sqlite3
from typing import Any

from django.db.backends.signals import connection_created


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
