"""What is answered when no view could: a problem document under /api/, a plain page elsewhere."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from rest_framework.exceptions import PermissionDenied

from studio.errors import NotFound
from studio.problem_types import BAD_REQUEST, FAILED, FRAMEWORK, ProblemType
from studio.problems import problem_for, simple, type_of


def bad_request(request: HttpRequest, exception: Any = None) -> HttpResponse:
    """400, for an address or headers that Django itself refuses."""
    problem = problem_for(exception) if exception is not None else None
    return _answer(request, problem.type if problem else BAD_REQUEST)


def forbidden(request: HttpRequest, exception: Any = None) -> HttpResponse:
    """403, outside the API's views."""
    return _answer(request, FRAMEWORK[PermissionDenied])


def not_found(request: HttpRequest, exception: Any = None) -> HttpResponse:
    """404, outside the API's views."""
    return _answer(request, type_of(NotFound))


def failed(request: HttpRequest) -> HttpResponse:
    """500: a fault of the program; its trace is in the log and never in the answer."""
    return _answer(request, FAILED)


def _answer(request: HttpRequest, kind: ProblemType) -> HttpResponse:
    if request.path_info.startswith("/api/"):
        return simple(kind).http_response()
    return render(request, "studio/failure.html", {"kind": kind}, status=kind.status)
