"""Tables to take away: what is kept, and templates to fill in."""

from collections.abc import Iterable
from typing import Any

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from studio.web.api.callers import caller
from studio.web.downloads import CSV, XLSX, FileView, file_answer
from studio.work.exchange.files import SavedFile, export_file, template_file

TABLE = OpenApiParameter(
    "table",
    str,
    OpenApiParameter.PATH,
    description="Name of a table: materials, suppliers, offers, lots, molds, recipes, ...",
)
DELIMITER = OpenApiParameter(
    "delimiter", str, enum=["comma", "semicolon"], description="Of CSV; a comma, if left out."
)


def saved_answer(saved: SavedFile) -> HttpResponseBase:
    """The answer that hands a file over, to be saved under its name."""
    return file_answer(saved.parts, form=saved.form, name=saved.name)


def delimiter_in(request: Request) -> str:
    """The delimiter that the address asks for."""
    return request.query_params.get("delimiter", "comma")


class _TableView(FileView):
    """A table as a file."""

    def query_parameters(self) -> Iterable[str]:
        return ("delimiter",) if self.form == "csv" else ()


_CSV = {(200, CSV): OpenApiTypes.BINARY}
_XLSX = {(200, XLSX): OpenApiTypes.BINARY}


class ExportCsvView(_TableView):
    """All rows of a table, as they can be imported again."""

    form = "csv"

    @extend_schema(parameters=[TABLE, DELIMITER], responses=_CSV)
    def get(self, request: Request, table: str) -> Any:
        """As CSV."""
        return saved_answer(
            export_file(table, form=self.form, delimiter=delimiter_in(request), by=caller(request))
        )


class ExportXlsxView(_TableView):
    """All rows of a table, as they can be imported again."""

    form = "xlsx"

    @extend_schema(parameters=[TABLE], responses=_XLSX)
    def get(self, request: Request, table: str) -> Any:
        """As XLSX."""
        return saved_answer(export_file(table, form=self.form, by=caller(request)))


class TemplateCsvView(_TableView):
    """The headings of a table with an invented example, and what each column is."""

    form = "csv"

    @extend_schema(parameters=[TABLE, DELIMITER], responses=_CSV)
    def get(self, request: Request, table: str) -> Any:
        """As CSV; what explains the columns begins with # and is not read."""
        return saved_answer(
            template_file(
                table, form=self.form, delimiter=delimiter_in(request), by=caller(request)
            )
        )


class TemplateXlsxView(_TableView):
    """The headings of a table with an invented example, and what each column is."""

    form = "xlsx"

    @extend_schema(parameters=[TABLE], responses=_XLSX)
    def get(self, request: Request, table: str) -> Any:
        """As XLSX, with the columns explained on a second sheet."""
        return saved_answer(template_file(table, form=self.form, by=caller(request)))
