"""What a cell holds, and how it is kept from being taken for a formula.

A spreadsheet computes a cell that begins with = + - or @, also after a tab or a line end (OWASP,
"CSV Injection"; the full-width forms are taken too by some). Such text gets an apostrophe before
it, and text that has apostrophes before such a sign gets one more, so that taking exactly one away
gives back what was there, whatever it was.
"""

import re
from datetime import date
from decimal import Decimal
from typing import Any, ClassVar, Self

from studio.foundation.errors import Fault, InvalidInput


class TableRefusal(InvalidInput):
    """A file that cannot be read as the table it is handed in for, or is too large."""

    code: ClassVar[str] = "table-refused"
    title: ClassVar[str] = "The file cannot be read as that table"

    @classmethod
    def because(cls, code: str, message: str, field: str = "file", **details: Any) -> Self:
        """The refusal with one fault whose own `code` says why."""
        return cls(faults=[Fault(code, message, field, details)])


#: What a column writes. A Decimal becomes a number of the spreadsheet, a date a date.
Cell = str | Decimal | date | None
#: Longer text fits into no cell of a spreadsheet (ECMA-376 leaves it open; 32,767 is usual).
LONGEST_CELL = 32_767
_SIGNS = "=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20"
_TAKEN_FOR_FORMULA = re.compile(f"'*[{_SIGNS}]")
_MADE_SAFE = re.compile(f"'+[{_SIGNS}]")
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?", re.ASCII)


def made_safe(text: str) -> str:
    """Text that no spreadsheet computes; `restored` gives the same text back."""
    if _TAKEN_FOR_FORMULA.match(text) and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def restored(text: str) -> str:
    """What `made_safe` was given."""
    return text[1:] if _MADE_SAFE.match(text) else text


def cell_text(cell: Cell) -> str:
    """A cell as plain text: numbers with all their places, days as 2026-03-31."""
    if cell is None:
        return ""
    if isinstance(cell, Decimal):
        return plain(cell)
    return cell.isoformat() if isinstance(cell, date) else made_safe(cell)


def plain(number: Decimal) -> str:
    """The shortest plain decimal text that is exactly `number`: "0.05", never "5E-2"."""
    text = f"{number:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text if number else "0"
