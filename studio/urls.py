"""All addresses of the studio."""

from importlib.util import find_spec
from typing import Any

from django.contrib import admin
from django.urls import include, path, re_path

from studio.web.pages import tables
from studio.web.pages.mark import favicon
from studio.web.pages.overview import overview
from studio.web.pages.people import my_settings, people
from studio.web.pages.people.sign_in import admin_sign_in, sign_in, sign_out
from studio.web.pages.problem_pages import problem_list, problem_page
from studio.web.pages.reading import read_quantity
from studio.web.pages.search import search
from studio.web.pages.start import start

APPS = ("inventory", "recipes", "costing")


def app_pages() -> list[Any]:
    """Each app that has a `pages.urls` module puts its `urlpatterns` below /."""
    modules = (f"{app}.pages.urls" for app in APPS)
    return [path("", include(module)) for module in modules if _exists(module)]


def _exists(module: str) -> bool:
    try:
        return find_spec(module) is not None
    except ModuleNotFoundError:  # the app has no pages at all
        return False


urlpatterns = [
    path("", overview, name="overview"),
    path("sign-in/", sign_in, name="sign-in"),
    path("sign-out/", sign_out, name="sign-out"),
    path("search/", search, name="search"),
    path("favicon.ico", favicon, name="favicon"),
    path("start/", start, name="start-page"),
    path("start/owner/", people.first_owner, name="first-owner-page"),
    path("settings/", my_settings.my_settings, name="settings"),
    path("settings/password/", my_settings.change_password, name="password-page"),
    path("settings/tokens/", my_settings.my_tokens, name="tokens-page"),
    path("settings/tokens/end/", my_settings.end_token, name="end-token"),
    path("settings/people/", people.people, name="people-page"),
    path("settings/people/add/", people.add_person, name="add-person-page"),
    path("settings/people/<int:account_id>/", people.change_person, name="person-page"),
    path("settings/tables/", tables.tables_page, name="tables-page"),
    re_path(
        r"^settings/tables/(?P<table>[^/]+)/(?P<what>export|template)"
        r"\.(?P<form>csv|semicolon\.csv|xlsx)$",
        tables.table_file,
        name="table-file",
    ),
    path("settings/tables/files/<int:number>/", tables.import_page, name="import-page"),
    path(
        "settings/tables/files/<int:number>/errors.csv",
        tables.import_faults,
        name="import-faults-page",
    ),
    path("settings/tables/files/<int:number>/take-in/", tables.take_in, name="take-in"),
    path("settings/tables/files/<int:number>/give-up/", tables.give_up, name="give-up"),
    path("read/quantity/", read_quantity, name="read-quantity"),
    path("api/problems/", problem_list, name="problem-list"),
    path("api/problems/<str:code>/", problem_page, name="problem"),
    *app_pages(),
    path("api/", include("studio.web.api.urls")),
    path("admin/login/", admin_sign_in, name="admin-sign-in"),
    path("admin/", admin.site.urls),
]

handler400 = "studio.web.pages.failures.bad_request"
handler403 = "studio.web.pages.failures.forbidden"
handler404 = "studio.web.pages.failures.not_found"
handler500 = "studio.web.pages.failures.failed"
