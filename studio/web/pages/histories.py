"""The page of a record's history: when, by whom, why, and what was before."""

from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from studio.foundation.histories import NEWEST_FIRST, edits
from studio.foundation.roles import may_see_costs
from studio.models import Preference
from studio.web.pages.frame import preferences_of
from studio.web.pages.lists import list_page


def history_page(
    request: HttpRequest,
    rows: "QuerySet[Any]",
    *,
    of: str,
    back: str,
    which: Callable[[Any], str] | None = None,
) -> HttpResponse:
    """The rows of `kept_rows` as a page, which leads `back` to the record called `of`.

    Where it tells of several records, `which` says of a row whose it is. Two queries, and those of
    the frame.
    """
    us = preferences_of(request.user).units == Preference.Units.US
    found = list_page(request, rows, order=NEWEST_FIRST)
    shown = edits(found.rows, costs=may_see_costs(request.user), system="us" if us else "metric")
    context = {
        "of": of,
        "back": back,
        "rows": found,
        "edits": [(edit, which(edit.row) if which else "") for edit in shown],
    }
    return render(request, "studio/history.html", context)
