"""A small table and files made by hand for tests of reading."""

import io
import zipfile

from openpyxl import Workbook

from studio.foundation.tables.columns import Column, Layout
from studio.foundation.tables.kinds import Code, Day, Money, Number, Text

LAYOUT = Layout(
    (
        Column(name="code", kind=Code(), meaning="its code", example="a", needed=True),
        Column(name="name", kind=Text(200), meaning="its name", example="A", empty=""),
        Column(name="weight", kind=Number(places=6, unit="g"), meaning="weight"),
        Column(name="price", kind=Money("USD"), meaning="price", cost=True),
        Column(name="since", kind=Day(), meaning="first day"),
    )
)


def workbook(*rows, sheets=()):
    """An XLSX file as a person's spreadsheet would write it."""
    book = Workbook()
    for row in rows:
        book.active.append(row)
    for title in sheets:
        book.create_sheet(title)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def with_part(content, name, part):
    """The file with one part put in place of its own."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for each in old.namelist():
            new.writestr(each, part if each == name else old.read(each))
        if name not in old.namelist():
            new.writestr(name, part)
    return out.getvalue()
