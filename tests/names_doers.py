"""Middleware of the tests: whatever a request of somebody signed in writes names that one.

It stands below the studio's own in `tests.settings`, so each test that goes through an address
tries that address: pages, API, with a session or a token. It reads the statements themselves: what
is put into the column of any `DoerField` or history, and that what changes a `Revised` row says by
whom. So no service and no model with one can be forgotten; rows written in bulk are seen as well.
Columns for a later step (who lifted, closed or set aside) are not read.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from django.apps import apps
from django.db import connection
from django.http import HttpRequest, HttpResponse

from studio.foundation.doers import DoerField
from studio.models import Revised

INSERT = re.compile(r'INSERT INTO "(?P<table>\w+)" \((?P<columns>[^)]*)\)')
UPDATE = re.compile(r'UPDATE "(?P<table>\w+)" SET (?P<set>.*?) WHERE', re.DOTALL)
HISTORY = frozenset({"history_user_id"})
#: The columns that say who writes a row.
NAMING = frozenset(
    field.column
    for model in apps.get_models()
    for field in model._meta.concrete_fields
    if isinstance(field, DoerField)
)


class NobodyUnnamed:
    """Fails the request that leaves a row without the account that sent it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self._answer = get_response
        self._revised = {
            model._meta.db_table for model in apps.get_models() if issubclass(model, Revised)
        }

    def __call__(self, request: HttpRequest) -> HttpResponse:
        def look(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
            self._check(sql, params, request)
            return execute(sql, params, many, context)

        with connection.execute_wrapper(look):
            return self._answer(request)

    def _check(self, sql: str, params: Any, request: HttpRequest) -> None:
        if (written := INSERT.match(sql)) is not None:
            names = re.findall(r'"(\w+)"', written["columns"])
            # A history copies who did something before, and has its own column for who does.
            of_history = HISTORY.intersection(names)
            for name in of_history or NAMING.intersection(names):
                account = request.user.pk  # None before sign-in
                for value in values_of(names, name, params or ()):
                    assert account in (None, value), (
                        f"{written['table']}.{name} does not name who did it"
                    )
        elif (changed := UPDATE.match(sql)) is not None and changed["table"] in self._revised:
            names = set(re.findall(r'"(\w+)" =', changed["set"]))
            assert "updated_at" not in names or "changed_by_id" in names, changed["table"]


def values_of(names: Sequence[str], name: str, params: Sequence[Any]) -> Iterator[Any]:
    """What an INSERT of one or many rows writes into a column; PostgreSQL takes lists of values."""
    at = names.index(name)
    if len(params) == len(names) and all(isinstance(each, list) for each in params):
        yield from params[at]
    elif params and len(params) % len(names) == 0:
        yield from params[at :: len(names)]
    else:
        raise AssertionError(f"{len(params)} values do not fill {len(names)} columns")
