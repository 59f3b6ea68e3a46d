"""Columns, the layout of a table, and the rows that were read with it."""

from collections.abc import Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, field
from typing import Any

from studio.foundation.errors import Faults, Refusal
from studio.foundation.tables.cells import Cell, TableRefusal
from studio.foundation.tables.kinds import Kind

#: Of one file. More is handed in as several files.
MOST_ROWS = 20_000
MOST_COLUMNS = 100
#: Rows that begin so are notes to whoever fills the table in, and are not read.
REMARK = "#"


@dataclass(frozen=True, slots=True)
class Column:
    """A column by its heading.

    `meaning` says what it is and in which unit. `example` is a cell of the invented example row.
    `needed` ones must be filled in for whatever is new. `empty` is what an empty cell stands for.
    `cost` ones are neither shown to nor read from those who may not see costs.
    """

    name: str
    kind: Kind
    meaning: str
    example: str = ""
    _: KW_ONLY
    needed: bool = False
    empty: Any = None
    cost: bool = False


@dataclass(frozen=True, slots=True)
class Layout:
    """The columns of a table; the first is the code by which its rows are known."""

    columns: tuple[Column, ...]

    def shown(self, *, costs: bool) -> tuple[Column, ...]:
        """The columns for somebody who sees costs, or does not."""
        return tuple(column for column in self.columns if costs or not column.cost)

    @property
    def key(self) -> str:
        """The heading of the code."""
        return self.columns[0].name


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file as it was read: the headings, and the rows by the numbers that a spreadsheet shows."""

    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One row that was read: values by column; those of columns that the file lacks are absent.

    Of one that is not `sound` some values could not be read; the faults tell.
    """

    number: int
    values: Mapping[str, Any]
    sound: bool = True


@dataclass(frozen=True, slots=True)
class CellFault:
    """What is wrong in one cell, or (with an empty `column`) in a row, and what would be right."""

    row: int
    column: str
    code: str
    message: str


@dataclass(frozen=True, slots=True)
class Reading:
    """The rows, and every fault of those that could not be read."""

    rows: tuple[Row, ...]
    faults: tuple[CellFault, ...] = ()


@dataclass(slots=True)
class _Found:
    rows: list[Row] = field(default_factory=list)
    faults: list[CellFault] = field(default_factory=list)


def read_rows(sheet: Sheet, layout: Layout, *, costs: bool) -> Reading:
    """The rows of a file, with all faults. Raises TableRefusal for headings that do not fit."""
    columns = _headed(sheet.headings, layout, costs=costs)
    found = _Found()
    for number, cells in sheet.rows:
        _read_row(number, cells, columns, found, key=layout.key)
    if not sheet.rows:
        raise TableRefusal.because(
            "no-rows", "There are no rows below the headings; rows that begin with # are notes."
        )
    return Reading(tuple(found.rows), tuple(found.faults))


def heading_name(text: str) -> str:
    """A heading as it is compared: "Supplier item" and "supplier_item" are one."""
    return "_".join(text.strip().casefold().replace("-", " ").replace("_", " ").split())


def _headed(
    headings: Sequence[str], layout: Layout, *, costs: bool
) -> tuple[tuple[int, Column], ...]:
    """Which column stands where, or TableRefusal with every heading that is wrong."""
    known = {column.name: column for column in layout.columns}
    places: list[tuple[int, Column]] = []
    faults = Faults()
    for place, heading in enumerate(headings):
        if not heading.strip():
            continue
        column = known.get(heading_name(heading))
        if column is None:
            names = ", ".join(one.name for one in layout.shown(costs=costs))
            _add(
                faults, "unknown-column", f'"{heading.strip()[:60]}" is no column. Known: {names}.'
            )
        elif column.cost and not costs:
            words = f"{column.name} holds costs, which an owner has not opened to you: take it out."
            _add(faults, "costs-closed", words)
        elif any(column is other for _, other in places):
            _add(faults, "column-twice", f"There are two columns {column.name}.")
        else:
            places.append((place, column))
    if all(column.name != layout.key for _, column in places):
        words = (
            f"There is no column {layout.key}: the first row holds headings, as in the template."
        )
        _add(faults, "column-missing", words)
    faults.raise_if_any(TableRefusal)
    return tuple(places)


def _add(faults: Faults, code: str, message: str) -> None:
    faults.add(code, message, "file")


def _read_row(
    number: int,
    cells: Sequence[str],
    columns: Sequence[tuple[int, Column]],
    found: _Found,
    *,
    key: str,
) -> None:
    values: dict[str, Any] = {}
    before = len(found.faults)
    headed = {place for place, _ in columns}
    if any(text.strip() for place, text in enumerate(cells) if place not in headed):
        found.faults.append(
            CellFault(number, "", "no-heading", "A cell of this row stands under no heading.")
        )
    for place, column in columns:
        text = cells[place] if place < len(cells) else ""
        if column.name == key and not text.strip():
            found.faults.append(
                CellFault(number, key, "needed", "Each row needs the code it is known by.")
            )
            continue
        try:
            values[column.name] = column.kind.read(text) if text.strip() else column.empty
        except Refusal as refusal:
            found.faults += [
                CellFault(number, column.name, fault.code, fault.message)
                for fault in refusal.faults
            ]
    found.rows.append(Row(number, values, sound=len(found.faults) == before))


def written_row(values: Mapping[str, Any], columns: Sequence[Column]) -> tuple[Cell, ...]:
    """The cells of a row from its values by column; None, and what an empty cell says, is empty."""
    return tuple(
        None
        if (value := values.get(column.name)) is None or value == ""
        else column.kind.write(value)
        for column in columns
    )
