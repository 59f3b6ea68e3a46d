"""Pages that explain the codes of problem documents; `type` of each document points here."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from studio.foundation.roles import Capability
from studio.web.pages.ruled import GET, page
from studio.web.problem_types import ProblemType
from studio.web.problems import all_types


def known_types() -> dict[str, ProblemType]:
    """Every code that the API can answer with, in the order of the alphabet."""
    return dict(sorted((kind.code, kind) for kind in all_types()))


@page(Capability.ANYONE, methods=GET)
def problem_list(request: HttpRequest) -> HttpResponse:
    """All codes."""
    return render(request, "studio/problems.html", {"kinds": known_types().values()})


@page(Capability.ANYONE, methods=GET)
def problem_page(request: HttpRequest, code: str) -> HttpResponse:
    """What one code means."""
    kind = known_types().get(code)
    if kind is None:
        raise Http404
    return render(request, "studio/problem.html", {"kind": kind})
