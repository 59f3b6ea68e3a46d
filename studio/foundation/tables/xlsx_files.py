"""Spreadsheets in XLSX (ECMA-376): read within bounds, written with cells of the right type."""

import io
import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, NoReturn
from xml.parsers import expat

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from studio.foundation.tables.cells import Cell, TableRefusal, made_safe, plain
from studio.foundation.tables.columns import MOST_COLUMNS, REMARK, Sheet
from studio.foundation.tables.csv_files import check_count, checked_cells

#: What all parts of a file may hold once unpacked. 20,000 rows of 40 columns are below.
MOST_UNPACKED = 120_000_000
MOST_PARTS = 300
_MOST_RATIO = 200
_CHUNK = 1 << 20
#: A spreadsheet shows 15 digits; what a file holds beyond is the noise of binary numbers.
_DIGITS = 15
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")
_WHOLE_DAY = time(0)
#: Other parts (pictures, macros) need not be XML.
_XML_PARTS = (".xml", ".rels", ".vml")


def read_xlsx(content: bytes) -> Sheet:
    """The first sheet of a file; cells as text, numbers as they are shown, days as 2026-03-31.

    Raises TableRefusal for what is no spreadsheet, for one that unpacks to too much, for formulas
    and errors in cells, and for more rows, columns or text in a cell than are read.
    """
    _check_parts(content)
    try:
        book = load_workbook(io.BytesIO(content), read_only=True, keep_links=False)
        try:
            return _sheet(book)
        finally:
            book.close()
    except TableRefusal:
        raise
    except Exception as error:  # a file made by hand breaks the library in any way it likes
        raise _unreadable() from error


def write_xlsx(sheets: Sequence[tuple[str, Sequence[str], Iterable[Sequence[Cell]]]]) -> bytes:
    """Sheets by title, with their headings and rows."""
    book = Workbook(write_only=True)
    for title, headings, rows in sheets:
        sheet = book.create_sheet(title)
        sheet.freeze_panes = "A2"
        for place, heading in enumerate(headings, start=1):
            width = max(12, min(len(heading) + 4, 40))
            sheet.column_dimensions[get_column_letter(place)].width = width
        sheet.append([_text(sheet, heading, bold=True) for heading in headings])
        for row in rows:
            sheet.append([_cell(sheet, cell) for cell in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _cell(sheet: Any, cell: Cell) -> Any:
    if isinstance(cell, Decimal):
        # More digits than a spreadsheet keeps would come back as others.
        digits = len(cell.normalize().as_tuple().digits)
        return cell if digits <= _DIGITS else _text(sheet, plain(cell))
    if cell is None or isinstance(cell, date):
        return cell
    return _text(sheet, made_safe(cell))


def _text(sheet: Any, text: str, *, bold: bool = False) -> Any:
    made = WriteOnlyCell(sheet, value="")
    # Set apart from the value, or the library takes "=1" for a formula and "#N/A" for an error.
    made._value = _CONTROL.sub(lambda match: f"_x{ord(match[0]):04X}_", text)
    made.data_type = "s"
    if bold:
        made.font = Font(bold=True)
    return made


def _sheet(book: Any) -> Sheet:
    if not book.worksheets:
        raise _unreadable()
    sheet = book.worksheets[0]
    # The size that a file states may be wrong; the rows themselves are read.
    sheet.reset_dimensions()
    headings: tuple[str, ...] | None = None
    kept: list[tuple[int, tuple[str, ...]]] = []
    rows = sheet.iter_rows(max_col=MOST_COLUMNS + 1)
    for number, cells in enumerate(rows, start=1):
        texts = _trimmed(_texts(number, cells))
        if not texts:
            continue
        if headings is None:
            headings = checked_cells(number, texts)
        elif not texts[0].lstrip().startswith(REMARK):
            kept.append((number, checked_cells(number, texts)))
            check_count(len(kept))
    if headings is None:
        raise TableRefusal.because("empty-file", "The first sheet of the file is empty.")
    return Sheet(headings, tuple(kept))


def _trimmed(texts: Iterator[str]) -> tuple[str, ...]:
    kept = list(texts)
    while kept and not kept[-1].strip():
        kept.pop()
    return tuple(kept)


def _texts(number: int, cells: Sequence[Any]) -> Iterator[str]:
    for place, cell in enumerate(cells, start=1):
        if cell.data_type == "f":
            raise _in_cell("formula", number, place, "a formula: put its value there instead")
        if cell.data_type == "e":
            raise _in_cell("error-cell", number, place, f"an error ({cell.value})")
        yield _shown(cell.value)


def _shown(value: Any) -> str:
    """A cell's value as the text that a column reads."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return plain(Decimal(f"{value:.{_DIGITS}g}"))
    if isinstance(value, datetime):
        day_alone = value.time() == _WHOLE_DAY
        return value.date().isoformat() if day_alone else value.isoformat(sep=" ")
    if isinstance(value, date | time):
        return value.isoformat()
    return _ESCAPED.sub(lambda match: chr(int(match[1], 16)), str(value))


def _check_parts(content: bytes) -> None:
    """Refuse what would unpack to too much, or brings definitions that XML could blow up."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            parts = packed.infolist()
            whole = sum(part.file_size for part in parts)
            if len(parts) > MOST_PARTS or whole > MOST_UNPACKED:
                raise _too_large()
            if any(part.flag_bits & 1 for part in parts):
                raise TableRefusal.because("locked", "The file is locked with a password.")
            if whole > _CHUNK and whole > _MOST_RATIO * len(content):
                raise _too_large()
            for part in parts:
                _check_part(packed, part)
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, ValueError) as error:
        raise _unreadable() from error
    except zlib.error as error:
        raise _unreadable() from error


def _check_part(packed: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Refuse a document type in any encoding: what it defines unpacks anew inside the parser.

    Read by the parser below openpyxl's, so that what hides a definition from this hides it from
    that too; a part of XML that it cannot read is refused. Never reads beyond the size stated,
    which was checked; a lie about it fails the checksum.
    """
    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = _refuse_definitions
    readable = True
    with packed.open(part) as opened:
        while readable and (chunk := opened.read(_CHUNK)):
            readable = _goes_on(parser, chunk)
        readable = readable and _goes_on(parser, b"", last=True)
        if not readable and part.filename.lower().endswith(_XML_PARTS):
            raise _unreadable()
        while opened.read(_CHUNK):
            pass


def _goes_on(parser: expat.XMLParserType, chunk: bytes, *, last: bool = False) -> bool:
    try:
        parser.Parse(chunk, last)
    except (expat.ExpatError, LookupError, ValueError):  # LookupError: an encoding nobody knows
        return False
    return True


def _refuse_definitions(*_: Any) -> NoReturn:
    raise _unreadable()


def _in_cell(code: str, number: int, place: int, what: str) -> TableRefusal:
    where = f"{get_column_letter(place)}{number}"
    return TableRefusal.because(code, f"Cell {where} holds {what}.", row=number)


def _too_large() -> TableRefusal:
    return TableRefusal.because(
        "unpacks-too-large",
        f"The file unpacks to more than is read ({MOST_UNPACKED // 1_000_000} MB at most): hand in "
        "the rows alone, as CSV.",
    )


def _unreadable() -> TableRefusal:
    return TableRefusal.because(
        "unreadable-file",
        "This is no spreadsheet that can be read: hand in XLSX, or CSV in UTF-8.",
    )
