"""Rows that the tests of a module share: made once, and found by each test as they were made.

They are made in a transaction that is open while the module runs and rolled back at its end; what
`db` undoes after each test is a savepoint in it. Every test of the module finds the rows, so one
that wants an empty studio, real commits or PostgreSQL stands in another module.
"""

from collections.abc import Callable, Iterator
from copy import deepcopy
from typing import Any

import pytest
from django.db import transaction

#: What asks for another database, or for commits, which an open transaction cannot give.
APART = frozenset({"transactional_db", "database", "live_server"})


def once_a_module(make: Callable[[], Any]) -> Any:
    """The fixture of a module that makes rows once; a test that asks for it gets a `Kept`."""

    @pytest.fixture(scope="module", autouse=True)
    def kept(
        request: pytest.FixtureRequest, django_db_setup: None, django_db_blocker: Any
    ) -> Iterator[Kept]:
        module = request.node
        for item in request.session.items:
            if module in item.listchain() and not shares(item):
                pytest.fail(f"{item.name} cannot share rows: put it into a module of its own")
        with django_db_blocker.unblock():
            block = transaction.atomic()
            # As TestCase does with its own: blocks that must be the outermost may stand within.
            block._from_testcase = True
            with block:
                yield Kept(make())
                transaction.set_rollback(True)

    return kept


class Kept:
    """What was made, to be had as it was before any test changed an instance in memory."""

    def __init__(self, made: Any) -> None:
        self._made = made

    def fresh(self) -> Any:
        """A copy for one test."""
        return deepcopy(self._made)


def shares(item: pytest.Item) -> bool:
    """Whether a test can run within an open transaction on SQLite."""
    marked = item.get_closest_marker("django_db")
    commits = marked is not None and marked.kwargs.get("transaction", False)
    asked = APART & {*getattr(item, "fixturenames", ())}
    return not (commits or asked or item.get_closest_marker("postgres"))
