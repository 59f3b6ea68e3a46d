"""What reserving does, in the fewest and plainest SQL statements, on a driver's own connection."""

import sqlite3
import uuid
from contextlib import closing

import psycopg
from django.db import connection
from django.utils import timezone

_PICKED = """
SELECT id, on_hand - reserved FROM inventory_lot WHERE material_id = {mark}
AND status = 'released' AND on_hand > reserved
AND (best_before IS NULL OR best_before >= {mark})
ORDER BY best_before NULLS LAST, received_on, id LIMIT 8 {lock}
"""


def open_raw(database):
    """A connection of the driver itself with the settings that the studio uses."""
    if database.name == "postgres":
        return closing(psycopg.connect(database.url, autocommit=True))
    raw = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None, timeout=20)
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        raw.execute(f"PRAGMA {pragma}")
    return closing(raw)


class RawReserving:
    """Reserves on one connection: five statements, and one for each material to pick from."""

    def __init__(self, raw):
        self.raw = raw
        self.is_postgres = isinstance(raw, psycopg.Connection)
        self.mark = "%s" if self.is_postgres else "?"

    def reserve(self, needs, holder, on):
        self.raw.execute("BEGIN" if self.is_postgres else "BEGIN IMMEDIATE")
        held = [part for need in needs.items() for part in self._picks(*need, on)]
        day = timezone.localdate() if self.is_postgres else timezone.localdate().isoformat()
        at = timezone.now() if self.is_postgres else timezone.now().isoformat(" ")
        self.raw.execute(
            f"SELECT 1 FROM inventory_reservation WHERE holder = {self.mark} AND state = 'open'",
            [holder],
        ).fetchone()
        (key,) = self._insert(
            "inventory_reservation (holder, state, created_at)",
            [(holder, "open", at)],
            " RETURNING id",
        ).fetchone()
        self._insert(
            "inventory_reservationline (reservation_id, lot_id, amount, remaining)",
            [(key, lot, amount, amount) for lot, amount in held],
        )
        rows = ", ".join([f"({self.mark}, {self.mark})"] * len(held))
        self.raw.execute(
            "UPDATE inventory_lot SET reserved = reserved + change.column2 "
            f"FROM (VALUES {rows}) AS change WHERE id = change.column1",
            [part for pair in held for part in pair],
        )
        posting = uuid.uuid4() if self.is_postgres else uuid.uuid4().hex
        self._insert(
            "inventory_stockentry (posting, lot_id, verb, on_hand, reserved, cost, "
            'reservation_id, reference, note, "on", at)',
            [
                (posting, lot, "reserve", 0, amount, 0, key, holder, "", day, at)
                for lot, amount in held
            ],
        )
        self.raw.execute("COMMIT")

    def _picks(self, material, needed, on):
        lock = "FOR UPDATE" if self.is_postgres else ""
        day = on if self.is_postgres else on.isoformat()
        sql = _PICKED.format(mark=self.mark, lock=lock)
        for lot, available in self.raw.execute(sql, [material, day]).fetchall():
            amount = min(needed, available)
            yield lot, amount
            needed -= amount
            if not needed:
                return

    def _insert(self, into, rows, more=""):
        row = "(" + ", ".join([self.mark] * len(rows[0])) + ")"
        return self.raw.execute(
            f"INSERT INTO {into} VALUES {', '.join([row] * len(rows))}{more}",
            [value for values in rows for value in values],
        )
