"""Triggers by which the database itself refuses to change or delete an entry of the ledger."""

from django.db.backends.base.schema import BaseDatabaseSchemaEditor

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
_SQL = {
    "sqlite": (_SQLITE_ON, _SQLITE_OFF),
    "postgresql": (_POSTGRES_ON, _POSTGRES_OFF),
}


def guard_entries(schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Install the triggers on the database of a migration (SQLite or PostgreSQL)."""
    for statement in _SQL[schema_editor.connection.vendor][0]:
        schema_editor.execute(statement)


def unguard_entries(schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Remove the triggers: only for undoing the migration and for emptying a test database."""
    for statement in _SQL[schema_editor.connection.vendor][1]:
        schema_editor.execute(statement)
