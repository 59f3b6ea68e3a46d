"""The base of every view of the API, and the views that only compute."""

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from django.http import Http404
from django.utils.cache import patch_cache_control
from rest_framework import serializers
from rest_framework.generics import GenericAPIView
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from studio.foundation.roles import Capability
from studio.web.api.parsing import check_query, keepable, refuse_unreadable_text
from studio.web.permissions import Rule

SerializerClass = type[serializers.BaseSerializer[Any]]


class StudioView(GenericAPIView):  # type: ignore[type-arg]
    """A view under the rules of the frame: who may, what is read, how it is answered."""

    rules: ClassVar[Mapping[str, Rule]] = {}
    #: Status of the answers of single actions (methods, where the view is no viewset).
    statuses: ClassVar[Mapping[str, int]] = {}

    def query_parameters(self) -> Iterable[str]:
        """Names that may stand in the query string of this request; others are refused."""
        return ()

    def perform_content_negotiation(
        self, request: Request, force: bool = False
    ) -> tuple[BaseRenderer, str]:
        """The form of the answer. A file's address names it already: what the caller would rather
        have cannot make a PDF of it JSON, nor the problem document of a refusal a PDF."""
        first = self.get_renderers()[0]
        if isinstance(first, JSONRenderer):
            return super().perform_content_negotiation(request, force)
        return first, first.media_type

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        check_query(request, self.query_parameters())
        if not all(keepable(value) for value in kwargs.values() if isinstance(value, str)):
            raise Http404
        if request.method in ("POST", "PUT", "PATCH"):
            # parsed here, bounded by DATA_UPLOAD_MAX_MEMORY_SIZE
            refuse_unreadable_text(request.data)

    def finalize_response(
        self, request: Request, response: Any, *args: Any, **kwargs: Any
    ) -> Response:
        answer = super().finalize_response(request, response, *args, **kwargs)
        patch_cache_control(answer, private=True, no_cache=True)
        return answer

    def read(self, request: Request, serializer_class: SerializerClass | None = None) -> Any:
        """The body, read by the view's serializer; raises ValidationError with all faults."""
        chosen = serializer_class or self.get_serializer_class()
        serializer = chosen(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        return serializer.validated_data


class ComputeView(StudioView):
    """A stateless computation: POST what is given, get the result; nothing is stored.

    Subclasses set `given_serializer` and `answer_serializer` and write `compute(given)`.
    """

    rules: ClassVar[Mapping[str, Rule]] = {"post": Capability.COMPUTE}
    given_serializer: ClassVar[SerializerClass]
    answer_serializer: ClassVar[SerializerClass]

    def get_serializer_class(self) -> SerializerClass:
        return self.given_serializer

    def compute(self, given: Any) -> Any:
        """The result for a body that was read; may raise any Refusal."""
        raise NotImplementedError

    def post(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        result = self.compute(self.read(request))
        context = self.get_serializer_context()
        return Response(self.answer_serializer(result, context=context).data)
