"""Headings and rows against a layout: all faults at once, each with its row and column."""

import pytest

from studio.foundation.tables.cells import TableRefusal
from studio.foundation.tables.columns import read_rows
from studio.foundation.tables.saved import read_file
from tests.studio.foundation.tables.files import LAYOUT


def reading_of(content, *, costs=True):
    return read_rows(read_file(content, LAYOUT), LAYOUT, costs=costs)


def test_every_fault_is_told_with_row_and_column():
    found = reading_of(b"code,name,weight,since\na b,A,1,\n,B,2,\nc,C,1.5.1,soon\nd,D,4,\n").faults
    assert [(fault.row, fault.column) for fault in found] == [
        (2, "code"),
        (3, "code"),
        (4, "weight"),
        (4, "since"),
    ]
    assert "2026-03-31" in found[-1].message


def test_rows_with_faults_are_marked_and_the_others_are_read():
    rows = reading_of(b"code,weight\na,x\nb,2\n").rows
    assert [(row.number, row.sound) for row in rows] == [(2, False), (3, True)]


def test_columns_that_the_file_lacks_are_absent_and_empty_cells_say_nothing():
    (row,) = reading_of(b"code,weight,name\na,,\n").rows
    assert row.values == {"code": "a", "weight": None, "name": ""}


def test_all_wrong_headings_are_told_at_once():
    with pytest.raises(TableRefusal) as refused:
        reading_of(b"colour,name,name,price\nx,y,z,1\n", costs=False)
    codes = {fault.code for fault in refused.value.faults}
    assert codes == {"unknown-column", "column-twice", "costs-closed", "column-missing"}
    (unknown,) = [fault for fault in refused.value.faults if fault.code == "unknown-column"]
    assert "code, name, weight, since" in unknown.message and "price" not in unknown.message


def test_headings_are_known_whatever_their_case_and_dashes():
    (row,) = reading_of(b" CODE ,Name\na,A\n").rows
    assert row.values == {"code": "a", "name": "A"}


def test_cells_under_no_heading_are_a_fault():
    (fault,) = reading_of(b"code,name\na,A,astray\n").faults
    assert (fault.row, fault.code) == (2, "no-heading")


def test_a_table_without_rows_is_refused():
    with pytest.raises(TableRefusal, match="no rows"):
        reading_of(b"code,name\n# only a remark\n")
