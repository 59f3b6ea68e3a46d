"""Comma-separated values (RFC 4180) that a spreadsheet opens as text and numbers, never as code."""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

#: A cell that begins like this is taken for a formula by spreadsheets (OWASP, CSV Injection).
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table to save: the file's name without its ending, the heads and the rows."""

    name: str
    heads: Sequence[str]
    rows: Iterable[Sequence[object]]


def csv_bytes(table: Table) -> bytes:
    """The table in UTF-8 with the mark by which spreadsheets know it."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(table.heads)
    writer.writerows([plain_cell(cell) for cell in row] for row in table.rows)
    return out.getvalue().encode("utf-8-sig")


def plain_cell(cell: object) -> str:
    """A cell's text; what would be read as a formula gets an apostrophe before it."""
    text = "" if cell is None else str(cell)
    if text.startswith(_FORMULA) and not _NUMBER.fullmatch(text):
        return "'" + text
    return text
