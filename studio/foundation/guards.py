"""Triggers by which the database itself refuses to change what is written for good.

They are put on after every `migrate`: SQLite drops the triggers of a table that a migration
rebuilds, and says nothing. So a migration neither installs nor lifts them, but for one that
writes to a guarded table itself.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.apps import AppConfig
from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models.signals import post_migrate


@dataclass(frozen=True, slots=True)
class Guard:
    """The triggers on some tables: statements that put them on and take them off, by vendor."""

    tables: Sequence[str]
    on: Mapping[str, Sequence[str]]
    off: Mapping[str, Sequence[str]]

    def put_on(self, connection: BaseDatabaseWrapper) -> None:
        """Install the triggers anew (SQLite or PostgreSQL)."""
        self._run(connection, [*self.off[connection.vendor], *self.on[connection.vendor]])

    def take_off(self, connection: BaseDatabaseWrapper) -> None:
        """Remove the triggers: for a migration that writes to these tables, and for tests."""
        self._run(connection, self.off[connection.vendor])

    def keep_on(self, app: AppConfig) -> None:
        """Put the triggers on after every `migrate` of `app`, once its tables are there."""

        def after(using: str, **_: Any) -> None:
            connection = connections[using]
            if set(self.tables) <= set(connection.introspection.table_names()):
                self.put_on(connection)

        post_migrate.connect(after, sender=app, weak=False, dispatch_uid=f"guard-{self.tables[0]}")

    @staticmethod
    def _run(connection: BaseDatabaseWrapper, statements: Sequence[str]) -> None:
        with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)
