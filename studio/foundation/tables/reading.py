"""A file of either form read as a sheet."""

from studio.foundation.tables.columns import Layout, Sheet, heading_name
from studio.foundation.tables.csv_files import read_csv
from studio.foundation.tables.xlsx_files import read_xlsx

_PACKED = b"PK\x03\x04"


def read_file(content: bytes, layout: Layout) -> Sheet:
    """A file as a sheet, whichever of the two forms it has. Raises TableRefusal."""
    if content.startswith(_PACKED):
        return read_xlsx(content)
    names = {column.name for column in layout.columns}
    return read_csv(content, knows=lambda heading: heading_name(heading) in names)
