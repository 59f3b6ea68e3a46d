"""`@page(rule)`: who may open a page. A page without a rule fails `manage.py check`."""

from collections.abc import Callable, Iterator
from functools import wraps
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.core.checks import CheckMessage, Error
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import URLPattern, URLResolver, get_resolver
from django.views.decorators.cache import never_cache
from django_htmx.http import HttpResponseClientRedirect

from studio.foundation.doers import Doer
from studio.foundation.errors import NotFound
from studio.foundation.roles import Capability, capabilities_of
from studio.web.pages.failures import wrong_method
from studio.web.pages.stock_pages import stock_page
from studio.web.permissions import NO_ROLE, Rule, refusal_for

View = Callable[..., HttpResponse]
RULE = "studio_page_rule"
METHODS = "studio_page_methods"
#: Of pages that only show something.
GET = ("GET", "HEAD")
#: Addresses with rules of their own kind: the API's are checked by `studio.web.api.checks`.
OTHER_RULES = ("api/v1/", "api/schema/", "api/docs/", "api/", "admin/")


def page(
    rule: Rule, *, methods: tuple[str, ...] = ("GET", "HEAD", "POST"), once: bool = False
) -> Callable[[View], View]:
    """Open a view to those whose role has the capability, or all of the capabilities, of `rule`.

    Others are led to sign-in, or get 403 when they are signed in. Nothing is kept by the browser.
    A `studio.foundation.errors.NotFound` that the view raises becomes the page of 404.
    With `once` a POST changes stock once, however often it is sent: `studio.web.pages.stock_pages`.
    """
    wanted = frozenset({rule} if isinstance(rule, Capability) else rule)

    def ruled(plain: View) -> View:
        view = stock_page(plain) if once else plain

        @wraps(view)
        def opened(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if request.method not in methods:
                return wrong_method(request, methods)
            able = capabilities_of(request.user)
            missing = wanted - able
            if missing and not request.user.is_authenticated:
                return _to_sign_in(request)
            if missing:
                raise PermissionDenied(refusal_for(missing) if Capability.READ in able else NO_ROLE)
            try:
                return view(request, *args, **kwargs)
            except NotFound as refusal:
                raise Http404(str(refusal)) from refusal

        guarded: View = never_cache(opened)
        setattr(guarded, RULE, rule)
        setattr(guarded, METHODS, methods)
        return guarded

    return ruled


def who(request: HttpRequest) -> Doer:
    """Who is signed in, for services that note by whom; below `@page` there is somebody."""
    if not request.user.is_authenticated:
        raise RuntimeError("only a page for people who are signed in may ask who it is")
    return request.user


def _to_sign_in(request: HttpRequest) -> HttpResponse:
    if getattr(request, "htmx", False):
        # A fragment must not show the sign-in page inside the page.
        back = request.headers.get("HX-Current-URL", "/")
        return HttpResponseClientRedirect(redirect_to_login(_path(back)).url)
    asked = request.get_full_path() if request.method in ("GET", "HEAD") else "/"
    return redirect_to_login(asked)


def _path(address: str) -> str:
    """The part of an address after the host; what is no address of ours leads to the start."""
    after = address.partition("://")[2].partition("/")[2]
    return f"/{after}" if "\\" not in after else "/"


def routed_pages(patterns: Any = None, above: str = "") -> Iterator[tuple[str, Any]]:
    """Every address outside the API and the admin, with its view."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        address = above + str(pattern.pattern)
        if address in OTHER_RULES:
            continue
        if isinstance(pattern, URLResolver):
            yield from routed_pages(pattern.url_patterns, address)
        elif isinstance(pattern, URLPattern):
            yield address, pattern.callback


def rule_of(view: Any) -> Rule | None:
    """The rule of a page's view."""
    own: Rule | None = getattr(view, RULE, None)
    return own


def page_errors(patterns: Any = None) -> list[CheckMessage]:
    """One error for each page without a rule."""
    return [
        Error(
            f"The page at '/{address}' has no rule of who may open it.",
            hint="Put @page(Capability...) of studio.web.pages.ruled on its view.",
            obj=view,
            id="studio.E006",
        )
        for address, view in routed_pages(patterns)
        if rule_of(view) is None
    ]


def every_page_has_a_rule(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """System check over all addresses outside the API and the admin."""
    return page_errors()
