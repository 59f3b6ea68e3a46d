"""Files to take away: templates, exports, and the faults of an import."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

from studio.foundation.doers import Doer
from studio.foundation.errors import InvalidInput
from studio.foundation.roles import may_see_costs
from studio.foundation.tables.cells import Cell
from studio.foundation.tables.columns import REMARK, Column, written_row
from studio.foundation.tables.csv_files import DELIMITERS, write_csv
from studio.foundation.tables.xlsx_files import write_xlsx
from studio.models import ImportRun
from studio.work.exchange.registry import ExchangeTable, refuse_unless, table_named

FORMS = ("csv", "xlsx")
#: A spreadsheet holds a million rows; no studio of this kind comes near.
MOST_EXPORTED = 200_000
_EXPLAINED = ("column", "needed", "what it is", "how it is written", "example")


@dataclass(frozen=True, slots=True, kw_only=True)
class SavedFile:
    """A file by its name without its ending, which is `form`; `parts` follow each other."""

    name: str
    form: str
    parts: Iterable[bytes]


def export_file(name: str, *, form: str = "csv", delimiter: str = "comma", by: Doer) -> SavedFile:
    """All rows of a table, as they can be imported again. A fixed number of queries.

    Columns of cost are left out for those who may not see costs. Raises NotFound, TableClosed,
    InvalidInput for a form or delimiter that is not known, and for more rows than are written.
    """
    table = _readable(name, by)
    columns = table.layout.shown(costs=may_see_costs(by))
    rows = list(table.rows())
    if len(rows) > MOST_EXPORTED:
        raise InvalidInput(f"The table has more than the {MOST_EXPORTED} rows of an export.")
    written = (written_row(row, columns) for row in rows)
    return _saved(table.name, table.title, columns, written, form=form, delimiter=delimiter)


def template_file(name: str, *, form: str = "csv", delimiter: str = "comma", by: Doer) -> SavedFile:
    """The headings of a table with an invented example, and what each column is.

    Example and explanations are remarks, which an import passes over; in XLSX the explanations
    are a second sheet. Raises as `export_file`.
    """
    table = _readable(name, by)
    columns = table.layout.shown(costs=may_see_costs(by))
    explained = list(_explanations(columns))
    if form == "xlsx":
        content = write_xlsx(
            [
                (table.title, [column.name for column in columns], _examples(table, columns)),
                ("Columns", _EXPLAINED, explained),
            ]
        )
        return SavedFile(name=f"{name}-template", form=form, parts=[content])
    remarks: Iterator[Sequence[Cell]] = (
        (f"{REMARK} {column}: {what} ({how}{', needed for what is new' if needed else ''})",)
        for column, needed, what, how, _ in explained
    )
    rows = chain(_examples(table, columns), remarks)
    return _saved(f"{name}-template", table.title, columns, rows, form=form, delimiter=delimiter)


def faults_file(run: ImportRun, *, delimiter: str = "comma") -> SavedFile:
    """What is wrong with an import, a line each, to be looked through beside the file."""
    heads = ("row", "column", "code", "what is wrong, and what would be right")
    rows = (
        (str(fault["row"] or ""), fault["column"], fault["code"], fault["message"])
        for fault in run.faults
    )
    return SavedFile(
        name=f"import-{run.pk}-faults",
        form="csv",
        parts=write_csv(heads, rows, delimiter=_delimiter(delimiter)),
    )


def _readable(name: str, by: Doer) -> ExchangeTable:
    table = table_named(name)
    refuse_unless(table, table.to_read, by)
    return table


def _saved(
    name: str,
    title: str,
    columns: Sequence[Column],
    rows: Iterable[Sequence[Cell]],
    *,
    form: str,
    delimiter: str,
) -> SavedFile:
    heads = [column.name for column in columns]
    if form == "csv":
        parts: Iterable[bytes] = write_csv(heads, rows, delimiter=_delimiter(delimiter))
    elif form == "xlsx":
        parts = [write_xlsx([(title, heads, rows)])]
    else:
        raise InvalidInput(f"Tables are saved as {' or '.join(FORMS)}.", field="form")
    return SavedFile(name=name, form=form, parts=parts)


def _delimiter(name: str) -> str:
    if name not in DELIMITERS:
        raise InvalidInput(f"The delimiter is {' or '.join(DELIMITERS)}.", field="delimiter")
    return DELIMITERS[name]


def _examples(table: ExchangeTable, columns: Sequence[Column]) -> Iterator[Sequence[Cell]]:
    for example in table.example or ({column.name: column.example for column in columns},):
        cells = [example.get(column.name, "") for column in columns]
        yield (f"{REMARK} invented example: {cells[0]}", *cells[1:])


def _explanations(columns: Sequence[Column]) -> Iterator[tuple[str, str, str, str, str]]:
    for column in columns:
        yield (
            column.name,
            "yes" if column.needed else "",
            column.meaning,
            column.kind.words,
            column.example,
        )
