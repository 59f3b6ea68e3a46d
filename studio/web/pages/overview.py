"""Today: what to do now, on top in one sentence; before sign-in, what this is."""

from collections.abc import Iterable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from studio.foundation.roles import Capability, capabilities_of
from studio.web.accounts import has_accounts
from studio.web.pages.panels import Panel, panels_for
from studio.web.pages.ruled import GET, page
from studio.web.pages.start import steps


@page(Capability.ANYONE, methods=GET)
def overview(request: HttpRequest) -> HttpResponse:
    """Today for people with a role; a welcome without business facts for all others.

    A studio without any account leads to the page that makes its owner.
    """
    if Capability.READ in capabilities_of(request.user):
        return _today(request)
    if not request.user.is_authenticated and not has_accounts():
        return redirect("first-owner-page")
    return render(request, "studio/welcome.html")


def _today(request: HttpRequest) -> HttpResponse:
    panels = panels_for(request.user)
    first_steps = [step for step in steps() if not step.done]
    context = {
        "panels": panels,
        "answer": answer_of(panels),
        "next_step": first_steps[0] if first_steps else None,
    }
    return render(request, "studio/today.html", context)


def answer_of(panels: Iterable[Panel]) -> str:
    """The one sentence on top: all that is to be done now."""
    now = [words for panel in panels for words in panel.now]
    if not now:
        return "Nothing needs you right now."
    listed = now[0] if len(now) == 1 else f"{', '.join(now[:-1])} and {now[-1]}"
    return f"{listed[0].upper()}{listed[1:]}."
