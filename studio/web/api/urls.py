"""The addresses under /api/: the apps' own `api/urls.py`, accounts, the description."""

from importlib.util import find_spec
from typing import Any

from csp.decorators import csp_update
from django.http import HttpRequest, HttpResponseBase
from django.urls import include, path, re_path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.routers import SimpleRouter

from studio.foundation.errors import NotFound
from studio.web.api.accounts import MeView, TokensView, TokenView
from studio.web.api.exchange.exports import (
    ExportCsvView,
    ExportXlsxView,
    TemplateCsvView,
    TemplateXlsxView,
)
from studio.web.api.exchange.imports import ImportFaultsView, ImportViewSet
from studio.web.problems import simple, type_of

APPS = ("inventory", "recipes", "costing")


def nothing_here(request: HttpRequest, rest: str = "") -> HttpResponseBase:
    """Any other address under /api/: a problem document, not a page."""
    return simple(type_of(NotFound), "There is no such address; see /api/docs/.").http_response()


def app_addresses() -> list[Any]:
    """Each app that has an `api.urls` module puts its `urlpatterns` below /api/v1/."""
    modules = (f"{app}.api.urls" for app in APPS)
    return [path("", include(module)) for module in modules if find_spec(module)]


router = SimpleRouter()
router.register("imports", ImportViewSet, basename="import")

v1 = [
    path("auth/token/", TokenView.as_view(), name="token"),
    path("auth/tokens/", TokensView.as_view(), name="tokens"),
    path("me/", MeView.as_view(), name="me"),
    path("exports/<str:table>.csv", ExportCsvView.as_view(), name="export-csv"),
    path("exports/<str:table>.xlsx", ExportXlsxView.as_view(), name="export-xlsx"),
    path("templates/<str:table>.csv", TemplateCsvView.as_view(), name="template-csv"),
    path("templates/<str:table>.xlsx", TemplateXlsxView.as_view(), name="template-xlsx"),
    path("imports/<str:id>/faults.csv", ImportFaultsView.as_view(), name="import-faults"),
    *router.urls,
    *app_addresses(),
]

# The library's style sheet holds its arrows as data; nothing else is opened for it.
docs = csp_update({"img-src": ["data:"]})(
    SpectacularSwaggerSplitView.as_view(url_name="schema", template_name="studio/api_docs.html")
)

urlpatterns = [
    path("v1/", include(v1)),
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("docs/", docs, name="api-docs"),
    re_path(r"^(?P<rest>.*)$", nothing_here),
]
