"""Turns: work that must not run twice at the same time, even in different processes."""

import zlib

from django.db import connection, transaction


def take_turn(name: str, *, shared: bool = False) -> None:
    """Wait until nobody else holds the turn `name`, and hold it until the transaction ends.

    Those who take it `shared` do not wait for each other, only for one who takes it alone. SQLite
    lets one writing transaction in at a time (they begin IMMEDIATE), so there is nothing to wait
    for; PostgreSQL has advisory locks for this. Raises RuntimeError outside a transaction.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("a turn is taken inside a transaction only")
    if connection.vendor == "postgresql":
        lock = "pg_advisory_xact_lock_shared" if shared else "pg_advisory_xact_lock"
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT {lock}(%s)", [zlib.crc32(name.encode())])
