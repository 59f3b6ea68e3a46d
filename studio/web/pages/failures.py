"""What is answered when no view could: a problem document under /api/, a page elsewhere."""

from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from rest_framework.exceptions import MethodNotAllowed, PermissionDenied

from studio.foundation.errors import NotFound
from studio.web.problem_types import BAD_REQUEST, FAILED, FRAMEWORK, ProblemType
from studio.web.problems import problem_for, simple, type_of

TEMPLATE = "studio/failure.html"


def bad_request(request: HttpRequest, exception: Any = None) -> HttpResponse:
    """400, for an address or headers that Django itself refuses."""
    problem = problem_for(exception) if exception is not None else None
    return _answer(request, problem.type if problem else BAD_REQUEST)


def forbidden(request: HttpRequest, exception: Any = None) -> HttpResponse:
    """403, outside the API's views."""
    return _answer(request, FRAMEWORK[PermissionDenied], _said(exception))


def forged(request: HttpRequest, reason: str = "") -> HttpResponse:
    """403, for a form without the token of this session: it was open too long, or is not ours."""
    words = (
        "This form belongs to another session, or was open too long. Go back, reload the page and "
        "send it again. Cookies must be allowed."
    )
    return _answer(request, FRAMEWORK[PermissionDenied], words)


def wrong_method(request: HttpRequest, allowed: Sequence[str]) -> HttpResponse:
    """405, for the address of a button that is opened as a page, and the like."""
    words = (
        "This address takes what a button sends; there is nothing to look at. Go back to the page "
        "that has the button."
    )
    answer = _answer(request, FRAMEWORK[MethodNotAllowed], words)
    answer["Allow"] = ", ".join(allowed)
    return answer


def not_found(request: HttpRequest, exception: Any = None) -> HttpResponse:
    """404, outside the API's views."""
    return _answer(request, type_of(NotFound), _said(exception))


def failed(request: HttpRequest) -> HttpResponse:
    """500: a fault of the program; its trace is in the log and never in the answer."""
    try:
        return _answer(request, FAILED)
    except Exception:  # what failed may be the database that the frame itself needs
        return HttpResponse(render_to_string(TEMPLATE, {"kind": FAILED}), status=FAILED.status)


def _said(exception: Any) -> str:
    """What a view said for people; what the router says is for programmers."""
    words = exception.args[0] if exception is not None and exception.args else ""
    return words if isinstance(words, str) else ""


def _answer(request: HttpRequest, kind: ProblemType, words: str = "") -> HttpResponse:
    if request.path_info.startswith("/api/"):
        return simple(kind).http_response()
    return render(request, TEMPLATE, {"kind": kind, "words": words}, status=kind.status)
