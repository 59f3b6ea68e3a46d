"""The first page: what runs low, which batches are under way; before sign-in, what this is."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from studio.pages.panels import panels_for
from studio.pages.ruled import page
from studio.roles import Capability, capabilities_of


@page(Capability.ANYONE, methods=("GET", "HEAD"))
def overview(request: HttpRequest) -> HttpResponse:
    """The overview for people with a role; a welcome without business facts for all others."""
    may_read = Capability.READ in capabilities_of(request.user)
    context = {
        "may_read": may_read,
        "panels": panels_for(request.user) if may_read else [],
    }
    return render(request, "studio/overview.html", context)
