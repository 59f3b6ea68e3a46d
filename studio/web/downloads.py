"""Files as answers: a GET that gives PDF, SVG, CSV or XLSX, under the rules and refusals of all.

An address that ends in a file answers with that file whatever a program says that it accepts; what
refuses it is the JSON of a problem document.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from django.http import HttpResponse, StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request

from studio.foundation.drawing.alone import alone
from studio.foundation.drawing.canvas import Chart
from studio.foundation.paper.rendering import Paper, paper_named, render_pdf, usual_paper
from studio.foundation.roles import Capability
from studio.foundation.tables.saved import SavedTable
from studio.web.api.views import StudioView
from studio.web.permissions import Rule

PDF, SVG, CSV = "application/pdf", "image/svg+xml", "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_MEDIA_TYPES = {"pdf": PDF, "svg": SVG, "csv": CSV, "xlsx": XLSX}
_TEXT = {"svg", "csv"}
PAPER = OpenApiParameter(
    "paper", str, enum=["a4", "letter"], description="Without it, the one usual in the studio."
)


def file_answer(
    content: bytes | Iterable[bytes], *, form: str, name: str = "", inline: bool = False
) -> HttpResponse | StreamingHttpResponse:
    """The answer that hands a file over: to be saved under its name, or `inline` to be shown.

    `name` is without the ending, which is `form`. Parts of a file are sent one after the other.
    """
    kind = HttpResponse if isinstance(content, bytes) else StreamingHttpResponse
    answer = kind(content, content_type=_MEDIA_TYPES[form] + "; charset=utf-8" * (form in _TEXT))
    if name:
        how = "inline" if inline else "attachment"
        answer["Content-Disposition"] = f'{how}; filename="{name}.{form}"'
    return answer


class FileRenderer(BaseRenderer):
    """Files are handed over as they are; what is rendered is the JSON of a refusal."""

    charset = None
    render_style = "binary"

    def __init__(self, form: str) -> None:
        self.format, self.media_type = form, _MEDIA_TYPES[form]

    def render(self, data: Any, *args: Any, **kwargs: Any) -> bytes:
        written: bytes = JSONRenderer().render(data)
        return written


class FileView(StudioView):
    """A view that answers with `file_answer`; `form` is what its address ends in."""

    rules: ClassVar[Mapping[str, Rule]] = {"get": Capability.READ}
    form: ClassVar[str]

    def get_renderers(self) -> list[BaseRenderer]:
        return [FileRenderer(self.form), JSONRenderer()]


class DrawingView(FileView):
    """A chart as SVG. Subclasses write `drawing(**kwargs)`, which may raise any Refusal."""

    form = "svg"

    def drawing(self, **kwargs: Any) -> Chart:
        """What is drawn for an address."""
        raise NotImplementedError

    @extend_schema(responses={(200, SVG): OpenApiTypes.STR})
    def get(self, request: Request, **kwargs: Any) -> Any:
        return file_answer(alone(self.drawing(**kwargs)).encode(), form=self.form)


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What goes on paper: a template, its values, and the file's name without its ending."""

    template: Path
    values: Mapping[str, Any]
    name: str


def asked_paper(request: Request) -> Paper:
    """The size of paper that an address asks for. Raises PaperRefusal."""
    named = request.query_params.get("paper")
    return usual_paper() if named is None else paper_named(named)


class PaperView(FileView):
    """A document as PDF. Subclasses write `page(**kwargs)`, which may raise any Refusal."""

    form = "pdf"

    def query_parameters(self) -> Iterable[str]:
        return ("paper",)

    def page(self, **kwargs: Any) -> Page:
        """What is printed for an address."""
        raise NotImplementedError

    @extend_schema(parameters=[PAPER], responses={(200, PDF): OpenApiTypes.BINARY})
    def get(self, request: Request, **kwargs: Any) -> Any:
        paper = asked_paper(request)
        page = self.page(**kwargs)
        content = render_pdf(page.template, page.values, paper=paper)
        return file_answer(content, form=self.form, name=page.name, inline=True)


class TableView(FileView):
    """A table to take away. Subclasses write `table(request, **kwargs)`, which may refuse."""

    form = "csv"

    def table(self, request: Request, **kwargs: Any) -> SavedTable:
        """What is saved for an address."""
        raise NotImplementedError

    @extend_schema(responses={(200, CSV): OpenApiTypes.BINARY})
    def get(self, request: Request, **kwargs: Any) -> Any:
        table = self.table(request, **kwargs)
        return file_answer(table.written(self.form), form=self.form, name=table.name)
