"""Rows given to a table's service, code by code, with every fault found on the way."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from django.core.exceptions import ValidationError
from django.db import DataError, IntegrityError, transaction

from studio.foundation.errors import Refusal
from studio.foundation.tables.columns import CellFault, Row
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking

_CLASH = "It clashes with something that is there already, or the database cannot keep it."


@dataclass(slots=True)
class Tally:
    """What became of the codes so far."""

    created: int = 0
    changed: int = 0
    unchanged: int = 0
    faults: list[CellFault] = field(default_factory=list)

    def count(self, outcome: Outcome) -> None:
        """One more code."""
        setattr(self, outcome.value, getattr(self, outcome.value) + 1)


def by_code(rows: Iterable[Row], table: ExchangeTable) -> list[tuple[Row, ...]]:
    """The rows of each code together, in the order in which the codes come first."""
    groups: dict[object, list[Row]] = {}
    for row in rows:
        # A row whose code cannot be read stands alone.
        groups.setdefault(row.values.get(table.layout.key, row.number), []).append(row)
    return [tuple(group) for group in groups.values()]


def take_all(
    groups: Iterable[Sequence[Row]], table: ExchangeTable, taking: Taking, tally: Tally
) -> None:
    """Give each code to the table's service; what it refuses leaves nothing behind.

    Must be called inside a transaction, which the caller commits or takes back.
    """
    known = {column.name for column in table.layout.columns}
    for rows in groups:
        if not all(row.sound for row in rows):
            continue
        if len(rows) > 1 and not table.many_rows:
            tally.faults += _twice(rows, table)
            continue
        try:
            with transaction.atomic():
                tally.count(table.take(rows, taking))
        except Refusal as refusal:
            tally.faults += _placed(refusal, rows, table, known)
        except (IntegrityError, DataError):
            tally.faults.append(CellFault(rows[0].number, "", "clash", _CLASH))
        except ValidationError as error:
            words = " ".join(error.messages)
            tally.faults.append(CellFault(rows[0].number, "", "invalid", words))


def _placed(
    refusal: Refusal, rows: Sequence[Row], table: ExchangeTable, known: set[str]
) -> Iterator[CellFault]:
    for fault in refusal.faults:
        row, column = table.place(rows, fault.field)
        yield CellFault(row, column if column in known else "", fault.code, fault.message)


def _twice(rows: Sequence[Row], table: ExchangeTable) -> Iterator[CellFault]:
    first, *others = rows
    for row in others:
        yield CellFault(
            row.number,
            table.layout.key,
            "code-twice",
            f"The code stands in row {first.number} already: write each once.",
        )
