"""Tables to take away: what is kept, and templates to fill in."""

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from django.http import StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request

from studio.api.callers import caller
from studio.api.views import StudioView
from studio.exchange.files import FORMS, SavedFile, export_file, template_file
from studio.permissions import Rule
from studio.roles import Capability

TABLE = OpenApiParameter(
    "table",
    str,
    OpenApiParameter.PATH,
    description="Name of a table: materials, suppliers, offers, lots, molds, recipes, ...",
)
DELIMITER = OpenApiParameter(
    "delimiter", str, enum=["comma", "semicolon"], description="Of CSV; a comma, if left out."
)


class _SavedRenderer(BaseRenderer):
    """Answers are streamed by themselves; a refusal stays the JSON of its problem document."""

    charset = None
    render_style = "binary"

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        written: bytes = JSONRenderer().render(data)
        return written


class CsvRenderer(_SavedRenderer):
    """Comma-separated values."""

    media_type = FORMS["csv"]
    format = "csv"


class XlsxRenderer(_SavedRenderer):
    """A spreadsheet."""

    media_type = FORMS["xlsx"]
    format = "xlsx"


def saved_answer(saved: SavedFile) -> StreamingHttpResponse:
    """The answer that hands a file over, to be saved under its name."""
    charset = "; charset=utf-8" if saved.media_type == FORMS["csv"] else ""
    return StreamingHttpResponse(
        saved.parts,
        content_type=saved.media_type + charset,
        headers={"Content-Disposition": f'attachment; filename="{saved.name}"'},
    )


def delimiter_in(request: Request) -> str:
    """The delimiter that the address asks for."""
    return request.query_params.get("delimiter", "comma")


class _TableView(StudioView):
    """A table as a file; `form` is what its address ends in."""

    rules: ClassVar[Mapping[str, Rule]] = {"get": Capability.READ}
    form: ClassVar[str]

    def query_parameters(self) -> Iterable[str]:
        return ("delimiter",) if self.form == "csv" else ()


_CSV = {(200, FORMS["csv"]): OpenApiTypes.BINARY}
_XLSX = {(200, FORMS["xlsx"]): OpenApiTypes.BINARY}


class ExportCsvView(_TableView):
    """All rows of a table, as they can be imported again."""

    form = "csv"
    renderer_classes = (CsvRenderer, JSONRenderer)

    @extend_schema(parameters=[TABLE, DELIMITER], responses=_CSV)
    def get(self, request: Request, table: str) -> Any:
        """As CSV."""
        return saved_answer(
            export_file(table, form=self.form, delimiter=delimiter_in(request), by=caller(request))
        )


class ExportXlsxView(_TableView):
    """All rows of a table, as they can be imported again."""

    form = "xlsx"
    renderer_classes = (XlsxRenderer, JSONRenderer)

    @extend_schema(parameters=[TABLE], responses=_XLSX)
    def get(self, request: Request, table: str) -> Any:
        """As XLSX."""
        return saved_answer(export_file(table, form=self.form, by=caller(request)))


class TemplateCsvView(_TableView):
    """The headings of a table with an invented example, and what each column is."""

    form = "csv"
    renderer_classes = (CsvRenderer, JSONRenderer)

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
    renderer_classes = (XlsxRenderer, JSONRenderer)

    @extend_schema(parameters=[TABLE], responses=_XLSX)
    def get(self, request: Request, table: str) -> Any:
        """As XLSX, with the columns explained on a second sheet."""
        return saved_answer(template_file(table, form=self.form, by=caller(request)))
