"""What the OpenAPI description says of every endpoint without the apps having to repeat it."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from studio.foundation.roles import Capability
from studio.web.api import concurrency
from studio.web.api.verbs import verb_of
from studio.web.idempotency import HOW as HOW_KEY
from studio.web.permissions import needed
from studio.web.problems import MEDIA_TYPE

OPEN = frozenset({Capability.ANYONE})


class FaultSerializer(serializers.Serializer[Any]):
    """One thing that is wrong, as written in a problem document."""

    code = serializers.CharField()
    field = serializers.CharField(help_text="Dotted path into the body, or empty.")
    detail = serializers.CharField()


class ProblemSerializer(serializers.Serializer[Any]):
    """A problem document (RFC 9457)."""

    type = serializers.CharField(help_text="Address of a page that explains the code.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    code = serializers.CharField(help_text="Stable, for programs.")
    errors = FaultSerializer(many=True)  # type: ignore[assignment]


class TokenSecurity(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How programs sign in."""

    target_class = "studio.web.api.callers.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "`Token ` and a token from POST /api/v1/auth/token/.",
        }


class StudioAutoSchema(AutoSchema):
    """Adds the headers that actions need and the problems that they answer with."""

    def _action(self) -> str:
        return str(getattr(self.view, "action", None) or self.method.lower())

    def _changes_stock(self) -> bool:
        handler = getattr(self.view, self._action(), None)
        return bool(getattr(handler, "stock_changing", False))

    def _needs_match(self) -> bool:
        handler = getattr(self.view, self._action(), None)
        return bool(getattr(handler, "needs_match", False))

    def get_override_parameters(self) -> list[Any]:
        found = list(super().get_override_parameters())
        if self._changes_stock():
            found.append(_header("Idempotency-Key", HOW_KEY))
        if self._needs_match():
            found.append(_header("If-Match", concurrency.HOW))
        return found

    def get_request_serializer(self) -> Any:
        given = getattr(self.view, "given_serializer", None)
        return given or super().get_request_serializer()

    def get_response_serializers(self) -> Any:
        answer = getattr(self.view, "answer_serializer", None)
        if answer is None and hasattr(self.view, "answer_serializer_class"):
            answer = self.view.answer_serializer_class()
        verb = verb_of(self.view, self._action())
        status = verb.status if verb else getattr(self.view, "statuses", {}).get(self._action())
        if answer is not None and status is not None and self.method != "DELETE":
            return {status: answer}
        return answer or super().get_response_serializers()

    def _get_response_bodies(self, direction: Any = "response") -> dict[str, Any]:
        bodies: dict[str, Any] = super()._get_response_bodies(direction)
        problem = self.resolve_serializer(ProblemSerializer, "response").ref
        for status, words in self._refusals():
            bodies.setdefault(
                str(status),
                {"description": words, "content": {MEDIA_TYPE: {"schema": problem}}},
            )
        return bodies

    def _refusals(self) -> list[tuple[int, str]]:
        writes = self.method in ("POST", "PUT", "PATCH")
        closed = needed(type(self.view), self._action()) != OPEN
        rows = (
            (400, "What was sent cannot be read.", True),
            (401, "Sign in first.", closed or writes),
            (403, "The role does not allow it.", closed),
            (404, "Nothing there.", "{" in self.path or writes),
            (406, "Answers are JSON only.", True),
            (409, "The present state does not allow it.", writes),
            (412, "Changed since it was read.", self._needs_match()),
            (413, "The body is too large.", writes),
            (415, "Bodies are JSON only.", writes),
            (422, "A rule refuses it.", writes),
            (428, "If-Match is missing.", self._needs_match()),
            (429, "Too many tries.", bool(getattr(self.view, "throttle_classes", ()))),
        )
        return [(status, words) for status, words, declared in rows if declared]


def _header(name: str, words: str) -> OpenApiParameter:
    return OpenApiParameter(name, str, OpenApiParameter.HEADER, required=True, description=words)
