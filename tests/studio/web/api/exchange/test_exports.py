"""Exports and templates over the API."""

import io

import pytest
from openpyxl import load_workbook

from tests.inventory.buying import a_supplier, an_oil
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db
API = "/api/v1/"


@pytest.fixture(autouse=True)
def _real_addresses(settings):
    settings.ROOT_URLCONF = "studio.urls"


def body_of(answer):
    assert answer.status_code == 200
    return b"".join(answer.streaming_content)


def test_a_table_is_saved_as_csv_and_as_a_spreadsheet():
    an_oil("olive", name="=Olive")
    client = client_as("viewer")
    answer = client.get(API + "exports/materials.csv?delimiter=semicolon")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="materials.csv"'
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert "no-cache" in answer.headers["Cache-Control"]
    content = body_of(answer)
    assert content.startswith("\ufeffcode;name;".encode()) and b"olive;'=Olive;" in content
    answer = client.get(API + "exports/materials.xlsx")
    assert answer.headers["Content-Type"].endswith("spreadsheetml.sheet")
    (sheet,) = load_workbook(io.BytesIO(body_of(answer))).worksheets
    assert (sheet["A2"].value, sheet["B2"].value) == ("olive", "'=Olive")


@pytest.mark.parametrize("kind", ["exports", "templates"])
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_costs_are_left_out_for_those_who_may_not_see_them(kind, form):
    a_supplier("mill-lane", freight=125_000)
    for role, seen in (("owner", True), ("viewer", False)):
        content = body_of(client_as(role).get(f"{API}{kind}/suppliers.{form}"))
        if form == "xlsx":
            sheet = load_workbook(io.BytesIO(content)).worksheets[0]
            text = str(list(sheet.iter_rows(values_only=True)))
        else:
            text = content.decode("utf-8-sig")
        assert ("freight" in text) == seen


def test_what_is_not_known_is_a_problem_document():
    client = client_as()
    problem_in(client.get(API + "exports/bottles.csv"), 404, "not-found")
    problem_in(client.get(API + "exports/lots.csv?delimiter=pipe"), 422, "invalid-input")
    problem_in(client.get(API + "exports/lots.csv?columns=all"), 400, "unknown-query")
    problem_in(client.get(API + "templates/lots.xlsx?delimiter=comma"), 400, "unknown-query")
    problem_in(client_as(None).get(API + "exports/lots.csv"), 403, "not-allowed")
    assert client.get(API + "exports/lots.ods").status_code == 404
