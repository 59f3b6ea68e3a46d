"""Drawings: a GET that gives an SVG, under the same rules and refusals as all other answers."""

from collections.abc import Mapping
from typing import Any, ClassVar

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.views import StudioView
from studio.drawing.alone import alone
from studio.drawing.canvas import Chart
from studio.permissions import Rule
from studio.roles import Capability

MEDIA_TYPE = "image/svg+xml"


class SvgRenderer(BaseRenderer):
    """SVG text as it is; a refusal stays the JSON of its problem document."""

    media_type = MEDIA_TYPE
    format = "svg"
    charset = "utf-8"

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        if isinstance(data, str):
            return data.encode()
        written: bytes = JSONRenderer().render(data)
        return written


class DrawingView(StudioView):
    """A chart as SVG. Subclasses write `drawing(**kwargs)`, which may raise any Refusal."""

    rules: ClassVar[Mapping[str, Rule]] = {"get": Capability.READ}
    renderer_classes = (SvgRenderer, JSONRenderer)

    def drawing(self, **kwargs: Any) -> Chart:
        """What is drawn for an address."""
        raise NotImplementedError

    @extend_schema(responses={(200, MEDIA_TYPE): OpenApiTypes.STR})
    def get(self, request: Request, **kwargs: Any) -> Response:
        return Response(alone(self.drawing(**kwargs)), content_type=f"{MEDIA_TYPE}; charset=utf-8")
