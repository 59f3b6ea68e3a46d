"""CSV and XLSX: what is written is read back, and what could do harm is refused unread."""

import io
import tracemalloc
import zipfile
from datetime import date, datetime
from decimal import Decimal
from itertools import islice
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.foundation.tables import xlsx_files
from studio.foundation.tables.cells import LONGEST_CELL, TableRefusal
from studio.foundation.tables.columns import MOST_ROWS, read_rows, written_row
from studio.foundation.tables.csv_files import write_csv
from studio.foundation.tables.saved import read_file
from studio.foundation.tables.xlsx_files import write_xlsx
from tests.studio.foundation.tables.files import LAYOUT, with_part, workbook

text = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=30).filter(
    lambda written: written == "" or written.strip()
)
row = st.fixed_dictionaries(
    {
        "code": st.from_regex(r"[a-z0-9]{1,8}", fullmatch=True),
        "name": text | st.text("'=+-@\t\r\n;,\"_x0D", max_size=12).filter(str.strip),
        "weight": st.none() | st.decimals(0, 10**9, places=6),
        "price": st.none() | st.integers(0, 2**63 - 1),
        "since": st.none() | st.dates(date(1900, 3, 1), date(2199, 12, 31)),
    }
)
HEADS = [column.name for column in LAYOUT.columns]


#: Made once: a workbook holds the time of its making, and with it its length may differ.
WHOLE = workbook(["code", "name"], ["a", "A"])


def rows_of(content, *, costs=True):
    reading = read_rows(read_file(content, LAYOUT), LAYOUT, costs=costs)
    assert reading.faults == ()
    return [each.values for each in reading.rows]


def written(rows, form, delimiter=","):
    cells = [written_row(each, LAYOUT.columns) for each in rows]
    if form == "csv":
        return b"".join(write_csv(HEADS, cells, delimiter=delimiter))
    return write_xlsx([("Table", HEADS, cells)])


@given(st.lists(row, min_size=1, max_size=5), st.sampled_from([",", ";"]))
def test_csv_comes_back_as_it_was(rows, delimiter):
    assert rows_of(written(rows, "csv", delimiter)) == rows


@given(st.lists(row, min_size=1, max_size=5))
def test_xlsx_comes_back_as_it_was(rows):
    assert rows_of(written(rows, "xlsx")) == rows


def test_a_written_spreadsheet_holds_no_formula_and_typed_cells():
    import io

    from openpyxl import load_workbook

    values = {"code": "a", "name": "=1+1", "weight": Decimal("0.1"), "since": date(2026, 3, 31)}
    sheet = load_workbook(io.BytesIO(written([values], "xlsx"))).active
    kinds = [cell.data_type for cell in sheet[2]]
    assert kinds == ["s", "s", "n", "n", "d"]
    assert sheet["B2"].value == "'=1+1"


def test_cells_of_a_persons_spreadsheet_are_read_by_their_types():
    content = workbook(
        ["Code", "NAME", "weight", "since"],
        [123, True, 0.1 + 0.2, datetime(2026, 3, 31)],  # noqa: DTZ001
        ["# a remark", None, "not read"],
        [None, None, None],
        ["b", "  spaced ", 2, "2026-04-01"],
        sheets=["Other"],
    )
    first, second = rows_of(content)
    assert first == {
        "code": "123",
        "name": "yes",
        "weight": Decimal("0.3"),
        "since": date(2026, 3, 31),
    }
    assert second["name"] == "  spaced "


def test_row_numbers_are_those_of_the_spreadsheet():
    sheet = read_file(b'code,name\r\n\r\na,"two\r\nlines"\r\n#x\r\nb,B\r\n', LAYOUT)
    assert [number for number, _ in sheet.rows] == [3, 5]
    sheet = read_file(workbook(["code"], [None], ["a"], ["#"], ["b"]), LAYOUT)
    assert [number for number, _ in sheet.rows] == [3, 5]


@pytest.mark.parametrize(
    "content",
    [
        "code;name;since\r\na;Olive, cold pressed;\r\n".encode("utf-8-sig"),
        b"sep=;\r\ncode;name\r\na;Olive, cold pressed\r\n",
        b"code\tname\na\tOlive, cold pressed\n",
        b'code,name\na,"Olive, cold pressed"',
    ],
)
def test_the_delimiter_and_the_mark_are_found(content):
    assert rows_of(content)[0]["name"] == "Olive, cold pressed"


@pytest.mark.parametrize(
    ("content", "code"),
    [
        ("code,name\na,é".encode("latin-1"), "encoding"),
        ("code,name\na,é".encode("utf-16"), "encoding"),
        (b"code,name\na,\x00", "nul-byte"),
        (b'code,name\na,"open', "broken-csv"),
        (b"\r\n\r\n", "empty-file"),
        (b"\x89PNG\r\n\x1a\n", "encoding"),
        (b"PK\x03\x04 no archive", "unreadable-file"),
        (b"code,name\na," + b"x" * (LONGEST_CELL + 1), "cell-too-long"),
        (b"code" + b",x" * 100, "too-many-columns"),
    ],
)
def test_files_that_are_no_table_are_refused(content, code):
    with pytest.raises(TableRefusal) as refused:
        read_file(content, LAYOUT)
    (fault,) = refused.value.faults
    assert fault.code == code
    assert fault.message.endswith(".")


def test_too_many_rows_are_refused_before_all_are_read():
    content = b"code\n" + b"a\n" * (MOST_ROWS + 1)
    with pytest.raises(TableRefusal, match=str(MOST_ROWS)):
        read_file(content, LAYOUT)


def test_formulas_and_errors_are_refused_with_their_cell():
    with pytest.raises(TableRefusal, match="B2 holds a formula"):
        read_file(workbook(["code", "name"], ["a", "=1+1"]), LAYOUT)
    with pytest.raises(TableRefusal, match="A3 holds an error"):
        read_file(workbook(["code"], ["a"], ["#N/A"]), LAYOUT)


def test_a_spreadsheet_that_unpacks_to_too_much_is_refused_unread():
    bomb = with_part(workbook(["code"], ["a"]), "xl/media/image1.png", b"\x00" * 60_000_000)
    assert len(bomb) < 100_000
    with pytest.raises(TableRefusal, match="unpacks to more"):
        read_file(bomb, LAYOUT)


def in_encodings(text):
    """XML as bytes in each encoding, by name; those of the `-le` and `-be` kind have no mark."""
    for name in ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-be"):
        yield pytest.param(f'<?xml version="1.0"?>{text}'.encode(name), id=name)
    for said, name in (
        ("utf-16", "utf-16"),
        ("utf-8", "utf-16"),
        ("utf-16", "utf-8"),
        ("utf-32", "utf-32-le"),
        ("cp037", "cp037"),
        ("windows-1252", "windows-1252"),
        ("no-such", "ascii"),
    ):
        declared = f'<?xml version="1.0" encoding="{said}"?>{text}'.encode(name)
        yield pytest.param(declared, id=f"{name} said to be {said}")
    yield pytest.param(text.encode(), id="undeclared")


LAUGHS = '<!DOCTYPE x [<!ENTITY a "aaaa">]><x>&a;</x>'
REPEATS = '<!DOCTYPE x [<!ATTLIST y z CDATA "aaaa">]><x><y/></x>'
PARTS = (
    "xl/worksheets/sheet1.xml",
    "xl/sharedStrings.xml",
    "xl/styles.xml",
    "xl/workbook.xml",
    "xl/_rels/workbook.xml.rels",
    "_rels/.rels",
    "[Content_Types].xml",
    "docProps/core.xml",
    "xl/theme/theme1.xml",
)


@pytest.fixture
def unparsed(monkeypatch):
    """Fails the test when the file gets as far as the library."""
    monkeypatch.setattr(xlsx_files, "load_workbook", lambda *_, **__: pytest.fail("was parsed"))


@pytest.mark.parametrize("part", list(in_encodings(LAUGHS)))
@pytest.mark.usefixtures("unparsed")
def test_definitions_that_xml_could_blow_up_are_refused_in_any_encoding(part):
    for name in PARTS:
        with pytest.raises(TableRefusal, match="no spreadsheet"):
            read_file(with_part(WHOLE, name, part), LAYOUT)


@pytest.mark.usefixtures("unparsed")
def test_definitions_are_found_wherever_they_stand():
    late = f"<!--{Random(1).randbytes(1_500_000).hex()}-->{REPEATS}".encode()
    for name, part in ((PARTS[0], late), ("xl/media/picture.png", REPEATS.encode("utf-16"))):
        with pytest.raises(TableRefusal, match="no spreadsheet"):
            read_file(with_part(WHOLE, name, part), LAYOUT)


def test_many_strings_of_one_entity_take_no_memory():
    """1.7 MB once took 1.2 GB: each reference is the text of the entity again."""
    entity = f'<!DOCTYPE x [<!ENTITY a "{"a" * 30_000}">]>'
    strings = "".join(f"<si><t>&a;{Random(at).random()}</t></si>" for at in range(20_000))
    laughs = f"{entity}<sst>{strings}</sst>".encode("utf-16")
    content = with_part(WHOLE, "xl/sharedStrings.xml", laughs)
    tracemalloc.start()
    try:
        with pytest.raises(TableRefusal, match="no spreadsheet"):
            read_file(content, LAYOUT)
        assert tracemalloc.get_traced_memory()[1] < 20_000_000
    finally:
        tracemalloc.stop()


def test_a_spreadsheet_may_be_written_in_other_encodings_and_hold_pictures():
    sheet = zipfile.ZipFile(io.BytesIO(WHOLE)).read(PARTS[0]).decode()
    whole = with_part(WHOLE, PARTS[0], f'<?xml version="1.0"?>{sheet}'.encode("utf-16"))
    whole = with_part(whole, "xl/media/picture.png", b"\x89PNG\r\n\x1a\n<!DOCTYPE")
    assert read_file(whole, LAYOUT) == read_file(WHOLE, LAYOUT)


@given(st.data())
def test_a_damaged_spreadsheet_is_refused_or_read_but_never_fails(data):
    content = bytearray(WHOLE)
    for place in data.draw(st.lists(st.integers(4, len(content) - 1), min_size=1, max_size=20)):
        content[place] = data.draw(st.integers(0, 255))
    try:
        read_file(bytes(content), LAYOUT)
    except TableRefusal as refusal:
        assert refusal.faults


def test_writing_goes_in_parts():
    cells = ((f"c{number}", "x", None, None, None) for number in range(10**9))
    parts = list(islice(write_csv(HEADS, cells), 3))
    assert parts[0] == "code,name,weight,price,since\r\n".encode("utf-8-sig")
    assert parts[2].startswith(b"c500,")
