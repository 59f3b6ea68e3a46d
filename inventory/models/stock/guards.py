"""Triggers by which the database itself refuses to change or delete an entry of the ledger."""

from studio.foundation.guards import Guard

TABLE = "inventory_stockentry"
MESSAGE = "entries of the stock ledger are never changed or deleted"

_SQLITE_ON = [
    f"""CREATE TRIGGER {TABLE}_no_{verb.lower()} BEFORE {verb} ON {TABLE}
    BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"""
    for verb in ("UPDATE", "DELETE")
] + [
    # INSERT OR REPLACE deletes the old row without its DELETE trigger (sqlite.org/lang_conflict).
    f"""CREATE TRIGGER {TABLE}_no_replace BEFORE INSERT ON {TABLE}
    WHEN EXISTS (SELECT 1 FROM {TABLE} WHERE id = NEW.id)
    BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"""
]
_SQLITE_OFF = [
    f"DROP TRIGGER IF EXISTS {TABLE}_no_{verb}" for verb in ("update", "delete", "replace")
]
_POSTGRES_ON = [
    f"""CREATE OR REPLACE FUNCTION {TABLE}_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN RAISE EXCEPTION '{MESSAGE}' USING ERRCODE = 'restrict_violation'; END $$""",
    f"""CREATE TRIGGER {TABLE}_append_only BEFORE UPDATE OR DELETE ON {TABLE}
    FOR EACH ROW EXECUTE FUNCTION {TABLE}_append_only()""",
    # TRUNCATE runs no row triggers.
    f"""CREATE TRIGGER {TABLE}_no_truncate BEFORE TRUNCATE ON {TABLE}
    FOR EACH STATEMENT EXECUTE FUNCTION {TABLE}_append_only()""",
]
_POSTGRES_OFF = [
    f"DROP TRIGGER IF EXISTS {TABLE}_{name} ON {TABLE}" for name in ("append_only", "no_truncate")
]
ENTRIES = Guard(
    tables=[TABLE],
    on={"sqlite": _SQLITE_ON, "postgresql": _POSTGRES_ON},
    off={"sqlite": _SQLITE_OFF, "postgresql": _POSTGRES_OFF},
)
