"""The studio's mark, for browsers that ask for it where nobody named one."""

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.templatetags.static import static

from studio.foundation.roles import Capability
from studio.web.pages.ruled import GET, page


@page(Capability.ANYONE, methods=GET)
def favicon(request: HttpRequest) -> HttpResponse:
    """Where the mark is."""
    return HttpResponseRedirect(static("studio/mark.svg"))
