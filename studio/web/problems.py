"""Every failure of the API as an RFC 9457 problem document; the one table of statuses.

    400  could not be read: broken JSON, wrong types, unknown fields, unreadable query values
    401  not signed in
    403  signed in, but the role does not allow it
    404  nothing there
    405, 406, 415  wrong method, no such form of answer, not JSON
    409  readable and sensible, but the present state does not allow it; a name already taken
    412  the thing was changed since it was read
    413  too large
    422  readable, but refused by a rule of the trade or of the studio
    428  an update without If-Match
    429  too many tries
    503  another writer held the database too long: send again

A `Refusal` gets its status from its `kind`; what the edge itself refuses is an `EdgeRefusal`.
`code` is stable and for programs; `type` is the address of a page that explains it.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from django.core.exceptions import (
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
)
from django.core.exceptions import ValidationError as ModelValidationError
from django.db import DataError, IntegrityError, OperationalError
from django.db.models import ProtectedError, RestrictedError
from django.http import Http404, HttpResponse
from rest_framework import exceptions, serializers
from rest_framework.response import Response
from rest_framework.utils.encoders import JSONEncoder
from rest_framework.views import set_rollback

from studio.foundation.errors import Fault, Kind, NotFound, Refusal
from studio.web.error_tree import faults_in
from studio.web.problem_types import (
    BAD_REQUEST,
    BUSY,
    FRAMEWORK,
    GUARD,
    IN_USE,
    OTHERS,
    OUT_OF_RANGE,
    TOO_LARGE,
    UNIQUE_CLASH,
    ProblemType,
)

MEDIA_TYPE = "application/problem+json"
STATUS_OF_KIND: Mapping[Kind, int] = {
    Kind.INVALID: 422,
    Kind.CONFLICT: 409,
    Kind.NOT_FOUND: 404,
    Kind.FORBIDDEN: 403,
}


class EdgeRefusal(exceptions.APIException):
    """Something that the API itself refuses, before or around the trade's rules."""

    status_code = 400
    code: ClassVar[str] = "bad-request"
    title: ClassVar[str] = "The request cannot be understood"

    def __init__(self, detail: str = "", *, fields: tuple[Fault, ...] = ()) -> None:
        super().__init__(detail or self.title)
        self.fields = fields


@dataclass(frozen=True, slots=True)
class Problem:
    """A problem document about to be sent."""

    type: ProblemType
    faults: tuple[Fault, ...]
    headers: Mapping[str, str] = field(default_factory=dict)

    def document(self) -> dict[str, Any]:
        """The members of RFC 9457, our `code`, and one entry of `errors` for each fault."""
        messages = [fault.message for fault in self.faults]
        single = messages[0] if len(messages) == 1 else f"{len(messages)} things are wrong."
        return {
            "type": self.type.url,
            "title": self.type.title,
            "status": self.type.status,
            "detail": single,
            "code": self.type.code,
            "errors": [
                {**fault.details, "code": fault.code, "field": fault.field, "detail": fault.message}
                for fault in self.faults
            ],
        }

    def response(self) -> Response:
        """For views of the framework."""
        return Response(
            self.document(),
            status=self.type.status,
            headers=dict(self.headers),
            content_type=MEDIA_TYPE,
        )

    def http_response(self) -> HttpResponse:
        """For what happens outside the framework's views."""
        return HttpResponse(
            json.dumps(self.document(), cls=JSONEncoder),
            status=self.type.status,
            content_type=MEDIA_TYPE,
            headers=dict(self.headers),
        )


def simple(kind: ProblemType, message: str = "", **headers: str) -> Problem:
    """A problem with one fault that concerns no single field."""
    return Problem(kind, (Fault(kind.code, message or kind.title),), headers)


def type_of(refusal: type[Refusal] | type[EdgeRefusal]) -> ProblemType:
    """The row of the table for a class of refusals."""
    status = (
        STATUS_OF_KIND[refusal.kind] if issubclass(refusal, Refusal) else int(refusal.status_code)
    )
    meaning = " ".join((refusal.__doc__ or refusal.title).split())
    return ProblemType(refusal.code, status, refusal.title, meaning)


def all_types() -> Iterator[ProblemType]:
    """Every row of the table: the framework's, ours, and each loaded `Refusal` subclass."""
    yield from FRAMEWORK.values()
    yield from OTHERS
    for base in (EdgeRefusal, Refusal):
        kinds: list[Any] = subclasses(base)
        for cls in kinds:
            yield type_of(cls)


def subclasses(base: type) -> list[Any]:
    """All classes below `base`, each once."""
    found: dict[Any, None] = {}
    direct: list[type] = base.__subclasses__()
    for cls in direct:
        found[cls] = None
        found.update(dict.fromkeys(subclasses(cls)))
    return list(found)


def problem_for(error: BaseException) -> Problem | None:
    """The problem that an exception becomes; None for what is a fault of the program (500)."""
    if isinstance(error, Refusal):
        return Problem(type_of(type(error)), error.faults)
    if isinstance(error, EdgeRefusal):
        kind = type_of(type(error))
        return Problem(kind, error.fields or (Fault(kind.code, str(error.detail)),))
    if isinstance(error, exceptions.APIException):
        return _from_framework(error)
    return _from_django(error)


def _from_framework(error: exceptions.APIException) -> Problem | None:
    if isinstance(error, exceptions.NotFound):
        return simple(type_of(NotFound), str(error.detail))
    if isinstance(error, exceptions.ValidationError):
        return _from_fields(error.detail)
    kind = FRAMEWORK.get(type(error))
    if kind is None:
        return None
    headers = {}
    if getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = str(error.auth_header)  # type: ignore[attr-defined]
    if getattr(error, "wait", None):
        headers["Retry-After"] = str(int(error.wait) + 1)  # type: ignore[attr-defined]
    return Problem(kind, (Fault(kind.code, str(error.detail)),), headers)


# Checked in order: some are subclasses of later ones.
DJANGO: tuple[tuple[type[BaseException] | tuple[type[BaseException], ...], ProblemType], ...] = (
    (Http404, type_of(NotFound)),
    (PermissionDenied, FRAMEWORK[exceptions.PermissionDenied]),
    (RequestDataTooBig, TOO_LARGE),
    (SuspiciousOperation, BAD_REQUEST),
    ((ProtectedError, RestrictedError), IN_USE),
    (DataError, OUT_OF_RANGE),
)


def _from_django(error: BaseException) -> Problem | None:
    if isinstance(error, ModelValidationError):
        return _from_fields(serializers.as_serializer_error(error))
    if isinstance(error, OperationalError):
        return _from_busy(error)
    for classes, kind in DJANGO:
        if isinstance(error, classes):
            return simple(kind)
    return _from_constraint(error) if isinstance(error, IntegrityError) else None


def _from_fields(tree: Any) -> Problem:
    """Field errors; when all that is wrong is a name already taken, that is a clash (409)."""
    faults = tuple(faults_in(tree))
    clash = bool(faults) and all(fault.code == "unique" for fault in faults)
    return Problem(UNIQUE_CLASH if clash else FRAMEWORK[exceptions.ValidationError], faults)


# SQLSTATE of PostgreSQL and the words of SQLite for the same cause.
CONSTRAINTS = (
    (UNIQUE_CLASH, "23505", "UNIQUE constraint"),
    (IN_USE, "23503", "FOREIGN KEY constraint"),
    (GUARD, "23514", "CHECK constraint"),
)
WAITED_TOO_LONG = ("40001", "40P01", "55P03", "57014")


def _sqlstate(error: BaseException) -> str:
    return str(getattr(error.__cause__, "sqlstate", None) or "")


def _from_constraint(error: IntegrityError) -> Problem | None:
    for kind, state, words in CONSTRAINTS:
        if _sqlstate(error) == state or words in str(error):
            return simple(kind)
    return None


def _from_busy(error: OperationalError) -> Problem | None:
    if _sqlstate(error) in WAITED_TOO_LONG or "database is locked" in str(error):
        return simple(BUSY, **{"Retry-After": "1"})
    return None


def exception_handler(error: Exception, context: Mapping[str, Any]) -> Response | None:
    """The framework's hook. What is no refusal is raised on: logged, and answered with 500."""
    problem = problem_for(error)
    if problem is None:
        return None
    set_rollback()
    return problem.response()
