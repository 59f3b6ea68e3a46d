"""Calling the API as a program would, and looking whether a refusal left anything behind."""

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from typing import Any

from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.studio.web.api.people import client_as

API = "/api/v1/"
_keys = count(1)


class Caller:
    """A client of one role; each POST carries a new Idempotency-Key unless told otherwise."""

    def __init__(self, role: str | None = "owner", *, see_costs: bool = False) -> None:
        self.client = client_as(role, see_costs=see_costs)

    def get(self, path: str, **query: Any) -> Any:
        return self.client.get(API + path, query)

    def post(self, path: str, body: Any = None, *, key: str | None = "new") -> Any:
        headers = {"Idempotency-Key": f"key-{next(_keys)}" if key == "new" else key}
        return self.client.post(
            API + path, {} if body is None else body, headers=headers if key else {}
        )

    def patch(self, path: str, body: Any, *, match: str | None = "*") -> Any:
        return self.client.patch(API + path, body, headers={"If-Match": match} if match else {})

    def put(self, path: str, body: Any, *, match: str | None = "*") -> Any:
        return self.client.put(API + path, body, headers={"If-Match": match} if match else {})

    def made(self, path: str, body: Any) -> dict[str, Any]:
        """The row that a POST made; fails the test when it did not."""
        answer = self.post(path, body)
        assert answer.status_code == 201, answer.content
        return answer.json()

    def seen(self, path: str, **query: Any) -> Any:
        """What a GET shows; fails the test when it is refused."""
        answer = self.get(path, **query)
        assert answer.status_code == 200, answer.content
        return answer.json()

    def rows(self, path: str, **query: Any) -> list[dict[str, Any]]:
        """The rows on the first page of a list."""
        return self.seen(path, **query)["results"]


def g(amount: str) -> dict[str, str]:
    return {"amount": amount, "unit": "g"}


def each(amount: str) -> dict[str, str]:
    return {"amount": amount, "unit": "each"}


def usd(amount: str) -> dict[str, str]:
    return {"amount": amount, "currency": "USD"}


def everything() -> dict[str, list[tuple[Any, ...]]]:
    """Every row of the inventory with all its columns, its history included, as it is stored."""
    found = {}
    with connection.cursor() as cursor:
        for model in apps.get_app_config("inventory").get_models():
            table, key = model._meta.db_table, model._meta.pk.column
            cursor.execute(f'SELECT * FROM "{table}" ORDER BY "{key}"')
            found[table] = cursor.fetchall()
    return found


@contextmanager
def nothing_changes() -> Iterator[None]:
    """Fails unless every row of the inventory is the same afterwards."""
    before = everything()
    yield
    assert everything() == before


def queries_of(caller: Caller, path: str, **query: Any) -> int:
    """How many queries a GET takes, that of the account's role included."""
    with CaptureQueriesContext(
        connection,
    ) as asked:
        caller.seen(path, **query)
    return len(asked)
