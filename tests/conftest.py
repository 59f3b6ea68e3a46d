"""What every test can ask for; tests/databases.py and tests/workers.py do the work.

- `db`, `transactional_db`: pytest-django's own, on SQLite.
- `database`: the test runs twice, on a SQLite file and on real PostgreSQL; commits are real,
  threads and other processes see them, and all is undone afterwards; `database.name` says which.
- `@pytest.mark.postgres` with `db` or `transactional_db`: on PostgreSQL only.
- `live_worker`: a real Celery worker process on the same database.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from django.test import TransactionTestCase

from studio.celery import app
from tests import databases
from tests.databases import Postgres, Sqlite, Tested, default_is, migrate
from tests.workers import Worker

BOTH = ("sqlite", "postgres")
KINDS: dict[str, Callable[[], Tested]] = {"sqlite": Sqlite, "postgres": Postgres}
STARTED = pytest.StashKey[dict[str, Tested]]()
CURRENT = pytest.StashKey[Tested]()
POINTED = pytest.StashKey[ExitStack]()


class Database:
    """What a test sees of the database it runs on."""

    def __init__(self, tested: Tested) -> None:
        self.name = tested.name
        self.url = tested.url
        self._tested = tested

    def restore(self) -> None:
        """Back to the migrated state; for examples of a property within one test."""
        databases.restore(self._tested)


def _wanted(item: pytest.Item) -> str:
    parameters = getattr(item, "callspec", None)
    if parameters is not None and "database" in parameters.params:
        return str(parameters.params["database"])
    return "postgres" if item.get_closest_marker("postgres") else "sqlite"


def _started(session: pytest.Session, name: str) -> Tested:
    started = session.config.stash.setdefault(STARTED, {})
    if name not in started:
        started[name] = KINDS[name]()
    return started[name]


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> Iterator[None]:
    # Before any fixture: whichever asks first for a row must already find the right database.
    tested = _started(item.session, _wanted(item))
    item.session.stash[CURRENT] = tested
    stack = item.stash[POINTED] = ExitStack()
    if tested.name != "sqlite":
        stack.enter_context(default_is(tested))
    return (yield)


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_teardown(item: pytest.Item) -> Iterator[None]:
    try:
        return (yield)
    finally:
        if POINTED in item.stash:
            item.stash[POINTED].close()


def pytest_sessionfinish(session: pytest.Session) -> None:
    for tested in session.config.stash.get(STARTED, {}).values():
        tested.stop()
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") == "true" and reporter and reporter.stats.get("skipped"):
        # What is skipped is not proven; a green run must not hide that.
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture(scope="session")
def django_db_setup(request: pytest.FixtureRequest, django_db_blocker: Any) -> None:
    """Migrate each database that the collected tests need; in place of pytest-django's own."""
    with django_db_blocker.unblock():
        for name in sorted({_wanted(item) for item in request.session.items}):
            migrate(_started(request.session, name))


@pytest.fixture(params=BOTH)
def database(request: pytest.FixtureRequest, transactional_db: None) -> Database:
    """The database the test runs on: it runs once on each kind."""
    return Database(request.session.stash[CURRENT])


@pytest.fixture(autouse=True, scope="session")
def _restore_instead_of_flush(request: pytest.FixtureRequest) -> Iterator[None]:
    # Django empties tables with DELETE after a test that committed: the ledger's triggers refuse
    # that, and rows made by migrations would be gone.
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            TransactionTestCase,
            "_fixture_teardown",
            lambda _: databases.restore(request.session.stash[CURRENT]),
        )
        yield


@pytest.fixture
def live_worker(database: Database, tmp_path: Path) -> Iterator[Worker]:
    """A worker process on the database of the test, taking tasks; stopped before all is undone."""
    app.control.purge()
    worker = Worker(database_url=database.url, log=tmp_path / "worker.log")
    try:
        worker.wait_until_ready()
        yield worker
    finally:
        worker.stop()
        app.control.purge()
