"""A table read or taken away, as comma-separated values or as a workbook."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from studio.foundation.tables.cells import Cell
from studio.foundation.tables.columns import Layout, Sheet, heading_name
from studio.foundation.tables.csv_files import read_csv, write_csv
from studio.foundation.tables.xlsx_files import read_xlsx, write_xlsx


@dataclass(frozen=True, slots=True, kw_only=True)
class SavedTable:
    """The file's name without its ending, the title of its sheet, heads and rows."""

    name: str
    heads: Sequence[str]
    rows: Iterable[Sequence[Cell]]
    title: str = ""

    def written(self, form: str) -> bytes:
        """The whole file: "csv", or "xlsx", in which dates are dates and numbers are numbers."""
        if form == "xlsx":
            return write_xlsx([(self.title or self.name, self.heads, self.rows)])
        return b"".join(write_csv(self.heads, self.rows))


_PACKED = b"PK\x03\x04"


def read_file(content: bytes, layout: Layout) -> Sheet:
    """A file as a sheet, whichever of the two forms it has. Raises TableRefusal."""
    if content.startswith(_PACKED):
        return read_xlsx(content)
    names = {column.name for column in layout.columns}
    return read_csv(content, knows=lambda heading: heading_name(heading) in names)
