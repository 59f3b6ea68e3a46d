"""Answers for spreadsheets: a GET that gives comma-separated values."""

from collections.abc import Mapping
from typing import Any, ClassVar

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.paper.tables import Table, csv_bytes
from studio.api.views import StudioView
from studio.permissions import Rule
from studio.roles import Capability

MEDIA_TYPE = "text/csv"


class CsvRenderer(BaseRenderer):
    """Bytes as they are; a refusal stays the JSON of its problem document."""

    media_type = MEDIA_TYPE
    format = "csv"
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


class TableView(StudioView):
    """A table as CSV. Subclasses write `table(**kwargs)`, which may raise any Refusal."""

    rules: ClassVar[Mapping[str, Rule]] = {"get": Capability.READ}
    renderer_classes = (CsvRenderer, JSONRenderer)

    def table(self, **kwargs: Any) -> Table:
        """What is saved for an address."""
        raise NotImplementedError

    @extend_schema(responses={(200, MEDIA_TYPE): OpenApiTypes.BINARY})
    def get(self, request: Request, **kwargs: Any) -> Response:
        table = self.table(**kwargs)
        return Response(
            csv_bytes(table),
            content_type=f"{MEDIA_TYPE}; charset=utf-8",
            headers={"Content-Disposition": f'attachment; filename="{table.name}.csv"'},
        )
