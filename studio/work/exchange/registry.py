"""Which tables go in and out. Each app registers its own once its models are loaded:

    TABLES.register(
        ExchangeTable(
            name="materials",
            title="Materials",
            layout=LAYOUT,
            needed=Capability.KEEP_STOCK,
            rows=material_rows,      # () -> rows to export, as values by column
            take=take_material,      # (rows, taking) -> Outcome; a service call, or a Refusal
        )
    )

`take` gets the rows of one code: a single one, or several where `many_rows` is set (a recipe and
its lines). It changes things through services alone and never commits. What it returns unchanged
must be what `rows` writes: that an export can be imported again is a law which tests hold.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from studio.foundation.doers import Doer
from studio.foundation.errors import (
    Fault,
    Faults,
    InvalidInput,
    Kind,
    NotFound,
    Refusal,
    StateConflict,
)
from studio.foundation.registry import Registry
from studio.foundation.roles import Capability, capabilities_of
from studio.foundation.tables.columns import Layout, Row


class TableClosed(Refusal):
    """A table that the role does not cover, or that shows costs which are not open to it."""

    code = "table-closed"
    kind = Kind.FORBIDDEN
    title = "This table is not open to you"


class ImportConflict(StateConflict):
    """An import is not in a state for that: it has faults, is still being checked, or is over."""

    code = "import-conflict"
    title = "The import is not in a state for that"


class Outcome(StrEnum):
    """What became of a code."""

    CREATED = "created"
    CHANGED = "changed"
    UNCHANGED = "unchanged"


@dataclass(frozen=True, slots=True, kw_only=True)
class Taking:
    """Who imports and how: `change` lets codes that are there already be changed."""

    by: Doer
    change: bool
    costs: bool


def first_part(rows: Sequence[Row], field: str) -> tuple[int, str]:
    """Where a fault of a service stands when its path begins with the column."""
    return rows[0].number, field.partition(".")[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExchangeTable:
    """A table by its name in addresses. `place` finds row and column of a fault's path."""

    name: str
    title: str
    layout: Layout
    needed: Capability
    rows: Callable[[], Iterable[Mapping[str, Any]]]
    take: Callable[[Sequence[Row], Taking], Outcome]
    to_read: Capability = Capability.READ
    many_rows: bool = False
    example: Sequence[Mapping[str, str]] = ()
    place: Callable[[Sequence[Row], str], tuple[int, str]] = first_part


TABLES = Registry[ExchangeTable]()


def table_named(name: str) -> ExchangeTable:
    """The table of that name. Raises NotFound naming those that there are."""
    table = TABLES.get(name)
    if table is None:
        names = ", ".join(each.name for each in TABLES)
        raise NotFound(f"There is no table {name[:40]}. There are: {names}.", field="table")
    return table


def tables_for(user: Doer) -> tuple[ExchangeTable, ...]:
    """The tables that this account may look at. One query for its role."""
    able = capabilities_of(user)
    return tuple(table for table in TABLES if table.to_read in able)


def refuse_unless(table: ExchangeTable, capability: Capability, user: Doer) -> None:
    """Raise TableClosed when the account's role does not cover it."""
    if capability not in capabilities_of(user):
        raise TableClosed(
            f"Your role does not cover {table.title.lower()} ({capability}). An owner can do it "
            "or change your role.",
            field="table",
        )


def require(row: Row, layout: Layout, taking: Taking, *, new: bool) -> None:
    """Raise InvalidInput with each needed column that the row leaves empty.

    What is there already keeps what stands in columns that the file lacks.
    """
    faults = Faults()
    for column in layout.columns:
        value = row.values.get(column.name)
        given = value is not None and value != ""
        if not column.needed or given or not (new or column.name in row.values):
            continue
        words = f"This is needed: {column.meaning}"
        if column.cost and not taking.costs:
            words = "Something new needs this, and an owner has not opened costs to you."
        faults.add("needed", words, column.name)
    faults.raise_if_any(InvalidInput)


def refuse_taken(code: str, taking: Taking) -> None:
    """Raise InvalidInput for a code that is there already, when only new ones were to come in."""
    if not taking.change:
        message = f"{code} is there already. To change what is there, import with the mode change."
        raise InvalidInput(faults=[Fault("already-there", message)])
