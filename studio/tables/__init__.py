"""Tables of rows as files that people keep in spreadsheets: CSV and XLSX, in and out.

Pure: it knows no database and no clock. A `Layout` is the columns of a table, each with the kind
of its values; `read_file` and `read_rows` turn a file into rows and faults, `written_row` and
`write_csv`/`write_xlsx` turn rows into a file whose cells no spreadsheet takes for formulas.
"""

from studio.tables.cells import Cell, made_safe, restored
from studio.tables.columns import (
    MOST_ROWS,
    REMARK,
    CellFault,
    Column,
    Layout,
    Reading,
    Row,
    Sheet,
    heading_name,
    read_rows,
    written_row,
)
from studio.tables.csv_files import DELIMITERS, read_csv, write_csv
from studio.tables.errors import TableRefusal
from studio.tables.kinds import (
    Amount,
    Choice,
    Code,
    Day,
    Kind,
    Money,
    Number,
    Text,
    Whole,
    YesNo,
)
from studio.tables.listed import Listed, as_mapping
from studio.tables.saved import SavedTable
from studio.tables.xlsx_files import read_xlsx, write_xlsx

__all__ = [
    "DELIMITERS",
    "MOST_ROWS",
    "REMARK",
    "Amount",
    "Cell",
    "CellFault",
    "Choice",
    "Code",
    "Column",
    "Day",
    "Kind",
    "Layout",
    "Listed",
    "Money",
    "Number",
    "Reading",
    "Row",
    "SavedTable",
    "Sheet",
    "TableRefusal",
    "Text",
    "Whole",
    "YesNo",
    "as_mapping",
    "made_safe",
    "read_csv",
    "read_file",
    "read_rows",
    "read_xlsx",
    "restored",
    "write_csv",
    "write_xlsx",
    "written_row",
]

_PACKED = b"PK\x03\x04"


def read_file(content: bytes, layout: Layout) -> Sheet:
    """A file as a sheet, whichever of the two forms it has. Raises TableRefusal."""
    if content.startswith(_PACKED):
        return read_xlsx(content)
    names = {column.name for column in layout.columns}
    return read_csv(content, knows=lambda heading: heading_name(heading) in names)
