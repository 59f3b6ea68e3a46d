"""The first page: what runs low, which batches are under way; before sign-in, what this is."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from studio.pages.panels import panels_for
from studio.roles import Capability, capabilities_of, role_of


@require_safe
@never_cache
def overview(request: HttpRequest) -> HttpResponse:
    """The overview for people with a role; a welcome without business facts for all others."""
    may_read = Capability.READ in capabilities_of(request.user)
    context = {
        "studio_name": settings.STUDIO_NAME,
        "role": role_of(request.user),
        "may_read": may_read,
        "panels": panels_for(request.user) if may_read else [],
    }
    return render(request, "studio/overview.html", context)
