"""Comma-separated values (RFC 4180): read with care, written so that spreadsheets read them."""

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from itertools import islice

from studio.foundation.tables.cells import LONGEST_CELL, Cell, TableRefusal, cell_text, restored
from studio.foundation.tables.columns import MOST_COLUMNS, MOST_ROWS, REMARK, Sheet

#: The words by which a delimiter is asked for.
DELIMITERS = {"comma": ",", "semicolon": ";"}
_TRIED = (",", ";", "\t")
_OTHER_ENCODINGS = (b"\xff\xfe", b"\xfe\xff")
_HOW = 'Save it as "CSV UTF-8", or hand in the spreadsheet as XLSX.'


def read_csv(content: bytes, *, knows: Callable[[str], bool]) -> Sheet:
    """A CSV file as a sheet. The delimiter is the one by which most headings are known (`knows`).

    UTF-8, with or without its mark. Raises TableRefusal for other encodings, NUL bytes, broken
    quotes, and more rows, columns or text in a cell than are read.
    """
    text = _decoded(content)
    delimiter, text = _delimiter(text, knows)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    kept: list[tuple[int, tuple[str, ...]]] = []
    headings: tuple[str, ...] | None = None
    try:
        for number, cells in enumerate(rows, start=1):
            if not any(cell.strip() for cell in cells):
                continue
            if headings is None:
                headings = checked_cells(number, cells)
            elif not cells[0].lstrip().startswith(REMARK):
                kept.append((number, checked_cells(number, cells)))
                check_count(len(kept))
    except csv.Error as error:
        raise TableRefusal.because(
            "broken-csv", f"Near line {rows.line_num} the quotes do not close: {error}."
        ) from error
    if headings is None:
        raise TableRefusal.because("empty-file", "The file is empty.")
    return Sheet(headings, tuple(kept))


def write_csv(
    headings: Sequence[str], rows: Iterable[Sequence[Cell]], *, delimiter: str = ","
) -> Iterable[bytes]:
    """The file in parts, in UTF-8 with the mark by which spreadsheets know it."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter)
    writer.writerow(headings)
    yield out.getvalue().encode("utf-8-sig")
    waiting = iter(rows)
    while part := list(islice(waiting, 500)):
        out = io.StringIO(newline="")
        csv.writer(out, delimiter=delimiter).writerows(
            [cell_text(cell) for cell in row] for row in part
        )
        yield out.getvalue().encode("utf-8")


def checked_cells(number: int, cells: Sequence[str]) -> tuple[str, ...]:
    """A row's cells as they were before they were made safe. Raises TableRefusal if too many."""
    if len(cells) > MOST_COLUMNS:
        raise TableRefusal.because(
            "too-many-columns", f"Row {number} has more than {MOST_COLUMNS} cells."
        )
    if any(len(cell) > LONGEST_CELL for cell in cells):
        raise TableRefusal.because(
            "cell-too-long", f"A cell of row {number} is longer than {LONGEST_CELL} letters."
        )
    return tuple(restored(cell) for cell in cells)


def check_count(rows: int) -> None:
    """Raise TableRefusal for more rows than one file may have."""
    if rows > MOST_ROWS:
        raise TableRefusal.because(
            "too-many-rows", f"A file has at most {MOST_ROWS} rows: hand it in in parts."
        )


def _decoded(content: bytes) -> str:
    if content.startswith(_OTHER_ENCODINGS):
        raise TableRefusal.because("encoding", f"The file is in UTF-16, not in UTF-8. {_HOW}")
    if b"\x00" in content:
        raise TableRefusal.because(
            "nul-byte", f"The file holds NUL bytes, so it is no CSV file. {_HOW}"
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise TableRefusal.because(
            "encoding", f"Line {line} holds letters that are not in UTF-8. {_HOW}"
        ) from error


def _delimiter(text: str, knows: Callable[[str], bool]) -> tuple[str, str]:
    """The delimiter and the text to read; some spreadsheets name it in a line of its own."""
    if text[:4].casefold() == "sep=" and text[5:6] in ("\r", "\n"):
        return text[4], text[5:]
    first = next((line for line in text.splitlines() if line.strip()), "")
    known = {}
    for delimiter in _TRIED:
        headings = next(csv.reader([first[:LONGEST_CELL]], delimiter=delimiter), [])
        known[delimiter] = sum(knows(heading) for heading in headings)
    return max(_TRIED, key=known.__getitem__), text
