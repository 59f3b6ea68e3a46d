"""Templates, exports and tables of faults."""

import io

import pytest
from openpyxl import load_workbook

from studio.foundation.errors import InvalidInput, NotFound
from studio.foundation.tables.cells import TableRefusal
from studio.work.exchange import files
from studio.work.exchange.registry import TABLES as KNOWN
from studio.work.exchange.registry import TableClosed, table_named, tables_for
from tests.inventory.buying import a_supplier, an_offer, an_oil
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import exported, imported, told

pytestmark = pytest.mark.django_db
TABLES = ("materials", "suppliers", "offers", "lots", "molds", "recipes", "scales")


def test_the_apps_register_their_tables():
    assert set(TABLES) <= {table.name for table in KNOWN}
    assert {table.name for table in tables_for(person("viewer"))} >= set(TABLES)
    assert tables_for(person(None)) == ()


@pytest.mark.parametrize("name", TABLES)
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_a_template_is_read_as_a_table_without_rows(name, form):
    by = person()
    content = b"".join(files.template_file(name, form=form, by=by).parts)
    run = imported(name, content, by=by)
    assert told(run) == [(0, "", "no-rows")]


@pytest.mark.parametrize("name", TABLES)
def test_the_example_of_a_template_could_be_read(name):
    from studio.foundation.tables.columns import read_rows
    from studio.foundation.tables.saved import read_file

    by = person()
    content = b"".join(files.template_file(name, by=by).parts).decode("utf-8-sig")
    content = content.replace("# invented example: ", "")
    layout = table_named(name).layout
    reading = read_rows(read_file(content.encode(), layout), layout, costs=True)
    assert reading.faults == () and reading.rows


@pytest.mark.parametrize("name", TABLES)
def test_each_column_is_explained_on_a_second_sheet(name):
    content = b"".join(files.template_file(name, form="xlsx", by=person()).parts)
    first, second = load_workbook(io.BytesIO(content)).worksheets
    explained = list(second.iter_rows(min_row=2, values_only=True))
    assert [row[0] for row in explained] == [cell.value for cell in first[1]]
    assert all(len(row[2]) > 2 and len(row[3]) > 5 for row in explained)
    assert first["A2"].value.startswith("# invented example:")


def test_costs_are_left_out_for_those_who_may_not_see_them():
    an_offer(a_supplier(), an_oil("olive"), "1 gal", 385_000)
    heads = exported("offers", by=person()).decode("utf-8-sig").splitlines()[0].split(",")
    closed = exported("offers", by=person("maker")).decode("utf-8-sig")
    assert {"price", "price_breaks"} == set(heads) - set(closed.splitlines()[0].split(","))
    assert "38.5" not in closed
    assert (
        "price"
        not in b"".join(files.template_file("offers", by=person("viewer")).parts)
        .decode("utf-8-sig")
        .splitlines()[0]
    )


def test_semicolons_are_written_where_they_are_asked_for():
    an_oil("olive", name="Olive; cold pressed")
    first, second = exported("materials", by=person(), delimiter="semicolon").splitlines()
    assert first.startswith("\ufeffcode;name".encode())
    assert second.startswith(b'olive;"Olive; cold pressed";fat')


def test_what_is_not_known_is_refused():
    by = person()
    with pytest.raises(NotFound, match="materials"):
        exported("bottles", by=by)
    with pytest.raises(InvalidInput, match="csv or xlsx"):
        exported("materials", by=by, form="ods")
    with pytest.raises(InvalidInput, match="comma or semicolon"):
        exported("materials", by=by, delimiter="|")
    with pytest.raises(TableClosed):
        exported("materials", by=person(None))


def test_faults_are_a_table_too():
    run = imported("materials", "code,name,kind\na,=1+1,fish\n", by=person())
    content = b"".join(files.faults_file(run).parts).decode("utf-8-sig")
    head, fault = content.splitlines()
    assert head.startswith("row,column,code")
    assert fault.startswith('2,kind,invalid-input,"Write one of: fat, ')


def test_headings_that_are_closed_are_refused():
    run = imported("offers", "code,price\nx,1\n", by=person("maker"))
    assert told(run) == [(0, "", "costs-closed")]
    assert issubclass(TableRefusal, InvalidInput)
