"""Tables in and out: templates, exports, and files that are handed in, checked and taken in."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from studio.foundation.errors import NotFound, Refusal
from studio.foundation.roles import Capability, capabilities_of
from studio.models import ImportRun
from studio.web.downloads import file_answer
from studio.web.pages.forms import faults_on, form_page, refused_form, see_other
from studio.web.pages.ruled import GET, page, who
from studio.web.permissions import refusal_for
from studio.work.exchange import files, starting
from studio.work.exchange.registry import ExchangeTable, tables_for

#: Imports that are listed, and faults that are shown in the page itself.
RECENT = 20
FAULTS_SHOWN = 100
MEGABYTE = 1_000_000
State = ImportRun.State
MODES = [
    ("create", "Only add what is new; a code that is there already is told as wrong"),
    ("change", "Add what is new, and change what is there to what the file says"),
]


class ImportForm(forms.Form):
    """A file for a table."""

    table = forms.ChoiceField(label="What it holds")
    mode = forms.ChoiceField(label="What it may do", choices=MODES, widget=forms.RadioSelect)
    file = forms.FileField(
        label="File",
        help_text="CSV or XLSX with the headings of the template, at most "
        f"{starting.MOST_BYTES // MEGABYTE} MB.",
        max_length=400,
        allow_empty_file=True,
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx"}),
    )

    def __init__(self, *args: Any, tables: Sequence[ExchangeTable], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["table"].choices = [  # type: ignore[attr-defined]
            (table.name, table.title) for table in tables
        ]

    def clean_file(self) -> Any:
        """Refuse a file that is too large before it is read."""
        file = self.cleaned_data["file"]
        if file.size > starting.MOST_BYTES:
            raise forms.ValidationError(
                f"This file is larger than {starting.MOST_BYTES // MEGABYTE} MB: hand it in in "
                "several parts.",
                code="file-too-large",
            )
        return file


@page(Capability.READ)
def tables_page(request: HttpRequest) -> HttpResponse:
    """Templates and exports to take away, a file to hand in, and the imports of late."""
    able = capabilities_of(request.user)
    tables = tables_for(who(request))
    takes = [table for table in tables if table.needed in able]
    may_import = Capability.KEEP_STOCK in able
    if request.method == "POST" and not may_import:
        raise PermissionDenied(refusal_for(frozenset({Capability.KEEP_STOCK})))
    form = ImportForm(
        request.POST or None,
        request.FILES or None,
        tables=takes,
        initial={"mode": "create"},
    )
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        with faults_on(form):
            run = starting.start_import(
                given["table"],
                given["file"].read(),
                mode=given["mode"],
                file_name=given["file"].name or "",
                by=who(request),
                now=timezone.now(),
            )
            return see_other(request, "import-page", run.pk)
    context = {
        "tables": tables,
        "form": form if may_import else None,
        "runs": list(starting.runs_of(who(request))[:RECENT]),
        "titles": _titles(tables),
    }
    return form_page(request, "studio/tables/tables.html", context)


@page(Capability.READ, methods=GET)
def table_file(request: HttpRequest, table: str, what: str, form: str) -> Any:
    """A table or its template as a file; `form` is csv, semicolon.csv or xlsx."""
    make = files.template_file if what == "template" else files.export_file
    delimiter = "semicolon" if form.startswith("semicolon") else "comma"
    kind = form.rpartition(".")[2]
    try:
        saved = make(table, form=kind, delimiter=delimiter, by=who(request))
    except NotFound:
        raise
    except Refusal as refusal:
        return _told(request, refusal)
    return file_answer(saved.parts, form=saved.form, name=saved.name)


@page(Capability.READ, methods=GET)
def import_page(request: HttpRequest, number: int) -> HttpResponse:
    """One import: how far it is, what is wrong in it, what it did."""
    return _import_page(request, number, forms.Form())


@page(Capability.READ, methods=GET)
def import_faults(request: HttpRequest, number: int) -> Any:
    """All that is wrong with an import, a line each."""
    run = starting.run_of(number, by=who(request))
    saved = files.faults_file(run)
    return file_answer(saved.parts, form=saved.form, name=saved.name)


@page(Capability.KEEP_STOCK, methods=("POST",))
def take_in(request: HttpRequest, number: int) -> HttpResponse:
    """Take in what was checked and is clean."""
    try:
        starting.go_on(number, by=who(request), now=timezone.now())
    except Refusal as refusal:
        return _refused(request, number, refusal)
    return see_other(request, "import-page", number)


@page(Capability.KEEP_STOCK, methods=("POST",))
def give_up(request: HttpRequest, number: int) -> HttpResponse:
    """Give an import up before anything was changed."""
    try:
        starting.discard(number, by=who(request), now=timezone.now())
    except Refusal as refusal:
        return _refused(request, number, refusal)
    messages.success(request, "The import is given up; nothing was changed.")
    return see_other(request, "tables-page")


def _refused(request: HttpRequest, number: int, refusal: Refusal) -> HttpResponse:
    return _import_page(request, number, refused_form(refusal))


def _import_page(request: HttpRequest, number: int, form: forms.Form) -> HttpResponse:
    run = starting.run_of(number, by=who(request))
    tables = tables_for(who(request))
    context = {
        "run": run,
        "title": _titles(tables).get(run.table, run.table),
        "works": run.state in (State.CHECKING, State.IMPORTING),
        "faults": run.faults[:FAULTS_SHOWN],
        "more_faults": max(0, run.faults_total - FAULTS_SHOWN),
        "may_take_in": run.state == State.CHECKED and not run.faults_total,
        "form": form,
    }
    return form_page(request, "studio/tables/import.html", context)


def _titles(tables: Sequence[ExchangeTable]) -> dict[str, str]:
    return {table.name: table.title for table in tables}


def _told(request: HttpRequest, refusal: Refusal) -> HttpResponse:
    messages.error(request, str(refusal))
    return see_other(request, "tables-page")
