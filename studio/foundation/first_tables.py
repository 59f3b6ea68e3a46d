"""The first migration of an app makes all of its tables at once.

Django renders the models of every app anew after each `CreateModel`, which takes most of the time
of migrating a new database. All tables of an app together need that once.
"""

from collections.abc import Sequence

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations import CreateModel
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState


class FirstTables(Operation):
    """Some `CreateModel`s that are carried out as one."""

    reduces_to_sql = True
    reversible = True
    serialization_expand_args = ["tables"]

    def __init__(self, tables: Sequence[CreateModel]) -> None:
        """`tables` come in the order of their keys, each with its indexes and constraints."""
        self.tables = tables

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Add the models; what was rendered before is dropped, and rendered when asked for."""
        state.__dict__.pop("apps", None)
        for table in self.tables:
            table.state_forwards(app_label, state)

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Make the tables in their order."""
        for table in self.tables:
            table.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Drop them, the last one first."""
        for table in reversed(self.tables):
            table.database_backwards(app_label, schema_editor, from_state, to_state)

    def describe(self) -> str:
        """What `migrate --plan` says."""
        return f"Create {len(self.tables)} tables"
