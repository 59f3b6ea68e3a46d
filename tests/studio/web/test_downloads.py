"""Files as answers: whatever a program says that it accepts, and never as something else."""

import csv
import io
from pathlib import Path
from typing import ClassVar

import pytest
from django.urls import URLPattern, get_resolver
from rest_framework.test import APIRequestFactory

from studio.foundation.drawing.canvas import chart
from studio.foundation.errors import NotFound
from studio.foundation.roles import Capability
from studio.foundation.tables.csv_files import read_csv
from studio.foundation.tables.saved import SavedTable
from studio.web.downloads import DrawingView, FileView, Page, PaperView, TableView

ROWS = [("=1+1", "2026-03-01"), ("'+quoted", ""), ("plain", "-5")]
OPEN = {"get": Capability.ANYONE}
ACCEPTED = ["*/*", "application/json", "application/pdf", "text/csv", "text/html, */*;q=0.1"]


class Drawn(DrawingView):
    rules: ClassVar = OPEN

    def drawing(self, **kwargs):
        return chart(
            prefix="line",
            title="A line",
            words="One line.",
            columns=("What",),
            rows=[("line",)],
            draw=lambda canvas: canvas.say("One line."),
        )


class Printed(PaperView):
    rules: ClassVar = OPEN

    def page(self, **kwargs):
        empty = Path(__file__).with_name("empty.typ")
        return Page(template=empty, values={}, name="empty")


class Tabled(TableView):
    rules: ClassVar = OPEN

    def table(self, request, **kwargs):
        return SavedTable(name="rows", heads=("text", "day"), rows=ROWS)


class Booked(Tabled):
    form = "xlsx"


class Missing(TableView):
    rules: ClassVar = OPEN

    def table(self, request, **kwargs):
        raise NotFound("There is no such table.")


def asked(view, accept):
    # Without a database: nobody is signed in, and the rule is open to all.
    return view.as_view(authentication_classes=[])(
        APIRequestFactory().get("/", headers={"accept": accept})
    )


@pytest.mark.parametrize("accept", ACCEPTED)
@pytest.mark.parametrize(
    ("view", "kind", "begins", "saved"),
    [
        (Drawn, "image/svg+xml; charset=utf-8", b"<svg ", None),
        (Printed, "application/pdf", b"%PDF", 'inline; filename="empty.pdf"'),
        (Tabled, "text/csv; charset=utf-8", b"\xef\xbb\xbftext", 'attachment; filename="rows.csv"'),
        (
            Booked,
            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
            b"PK",
            'attachment; filename="rows.xlsx"',
        ),
    ],
)
def test_a_file_is_handed_over_as_it_is(view, kind, begins, saved, accept):
    answer = asked(view, accept)
    if answer.status_code == 406:  # neither the file nor a problem in JSON is accepted
        assert "json" not in accept and "*/*" not in accept and accept not in kind
        return
    assert (answer.status_code, answer["Content-Type"]) == (200, kind)
    assert answer.content.startswith(begins) and answer.get("Content-Disposition") == saved


@pytest.mark.parametrize("accept", ["*/*", "application/json", "text/csv"])
def test_a_refusal_is_a_problem_document(accept):
    answer = asked(Missing, accept).render()
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")
    assert b"There is no such table." in answer.content


def test_no_cell_is_a_formula_and_all_are_read_back():
    content = asked(Tabled, "*/*").content
    rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"))))[1:]
    assert [row[0] for row in rows] == ["'=1+1", "''+quoted", "plain"]
    assert rows[2][1] == "-5"
    assert [cells for _, cells in read_csv(content, knows=bool).rows] == ROWS


def patterns(within):
    for each in within.url_patterns:
        if isinstance(each, URLPattern):
            yield each
        else:
            yield from patterns(each)


def test_every_address_of_the_api_that_ends_in_a_file_answers_so():
    named = {".pdf": "pdf", ".svg": "svg", ".csv": "csv", ".xlsx": "xlsx"}
    found = {}
    for pattern in patterns(get_resolver()):
        view = getattr(pattern.callback, "view_class", None)
        form = next((form for end, form in named.items() if str(pattern.pattern).endswith(end)), "")
        if view is not None and form:
            found[pattern.name] = issubclass(view, FileView) and view.form == form
    assert len(found) > 12 and all(found.values()), found
