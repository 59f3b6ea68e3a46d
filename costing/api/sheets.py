"""Tables to take away: as comma-separated values, and as a workbook with real dates and numbers."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.views import StudioView
from studio.permissions import Rule
from studio.roles import Capability
from studio.tables import Cell, write_csv, write_xlsx

CSV = "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A table to save: the file's name without its ending, its title, heads and rows."""

    name: str
    title: str
    heads: Sequence[str]
    rows: Iterable[Sequence[Cell]]


class _BytesRenderer(BaseRenderer):
    """Bytes as they are; a refusal stays the JSON of its problem document."""

    charset = None
    render_style = "binary"

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        if isinstance(data, bytes):
            return data
        written: bytes = JSONRenderer().render(data)
        return written


class CsvRenderer(_BytesRenderer):
    """Comma-separated values."""

    media_type = CSV
    format = "csv"


class XlsxRenderer(_BytesRenderer):
    """A workbook."""

    media_type = XLSX
    format = "xlsx"


class SheetView(StudioView):
    """A table to take away. Subclasses write `sheet(request, **kwargs)`, which may refuse."""

    rules: ClassVar[Mapping[str, Rule]] = {"get": (Capability.READ, Capability.SEE_COSTS)}

    def sheet(self, request: Request, **kwargs: Any) -> Sheet:
        """What is saved for an address."""
        raise NotImplementedError


class CsvView(SheetView):
    """The table as comma-separated values."""

    renderer_classes = (CsvRenderer, JSONRenderer)

    @extend_schema(responses={(200, CSV): OpenApiTypes.BINARY})
    def get(self, request: Request, **kwargs: Any) -> Response:
        sheet = self.sheet(request, **kwargs)
        content = b"".join(write_csv(sheet.heads, sheet.rows))
        return _saved(content, f"{CSV}; charset=utf-8", f"{sheet.name}.csv")


class XlsxView(SheetView):
    """The table as a workbook: dates are dates, numbers are numbers."""

    renderer_classes = (XlsxRenderer, JSONRenderer)

    @extend_schema(responses={(200, XLSX): OpenApiTypes.BINARY})
    def get(self, request: Request, **kwargs: Any) -> Response:
        sheet = self.sheet(request, **kwargs)
        content = write_xlsx([(sheet.title, sheet.heads, sheet.rows)])
        return _saved(content, XLSX, f"{sheet.name}.xlsx")


def _saved(content: bytes, media_type: str, name: str) -> Response:
    return Response(
        content,
        content_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
