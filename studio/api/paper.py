"""Answers on paper: a GET that gives a PDF, under the same rules and refusals as all others."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.views import StudioView
from studio.paper import paper_named, render_pdf, usual_paper
from studio.permissions import Rule
from studio.roles import Capability

MEDIA_TYPE = "application/pdf"
PAPER = OpenApiParameter(
    "paper", str, enum=["a4", "letter"], description="Without it, the one usual in the studio."
)


class PdfRenderer(BaseRenderer):
    """Bytes as they are; a refusal stays the JSON of its problem document."""

    media_type = MEDIA_TYPE
    format = "pdf"
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What goes on paper: a template, its values, and the file's name without its ending."""

    template: Path
    values: Mapping[str, Any]
    name: str


class PaperView(StudioView):
    """A document as PDF. Subclasses write `page(**kwargs)`, which may raise any Refusal."""

    rules: ClassVar[Mapping[str, Rule]] = {"get": Capability.READ}
    renderer_classes = (PdfRenderer, JSONRenderer)

    def query_parameters(self) -> Iterable[str]:
        return ("paper",)

    def page(self, **kwargs: Any) -> Page:
        """What is printed for an address."""
        raise NotImplementedError

    @extend_schema(parameters=[PAPER], responses={(200, MEDIA_TYPE): OpenApiTypes.BINARY})
    def get(self, request: Request, **kwargs: Any) -> Response:
        named = request.query_params.get("paper")
        paper = usual_paper() if named is None else paper_named(named)
        page = self.page(**kwargs)
        return Response(
            render_pdf(page.template, page.values, paper=paper),
            content_type=MEDIA_TYPE,
            headers={"Content-Disposition": f'inline; filename="{page.name}.pdf"'},
        )
