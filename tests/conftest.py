"""What every test can ask for; tests/databases.py and tests/workers.py do the work.

- `db`, `transactional_db`: pytest-django's own, on SQLite.
- `database`: the test runs twice, on a SQLite file and on real PostgreSQL; commits are real,
  threads and other processes see them, and all is undone afterwards; `database.name` says which.
- `@pytest.mark.postgres` with `db` or `transactional_db`: on PostgreSQL only.
- `live_worker`: a real Celery worker process on the same database.
"""

import gc
import os
import signal
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from django.test import TransactionTestCase
from hypothesis import settings as properties

from studio.celery import app
from tests import databases
from tests.databases import Postgres, Sqlite, Tested, default_is, make
from tests.dealing import FromBothEnds, put_in_place
from tests.postgres_server import PostgresServer
from tests.workers import Worker

BOTH = ("sqlite", "postgres")
# As many examples of a property as every run can bear; `--hypothesis-profile=long` tries more.
# None has a deadline: they run beside browsers, workers and other processes of the run.
properties.register_profile("long", properties(max_examples=500, deadline=None))
properties.register_profile("every-run", properties(max_examples=50, deadline=None))
properties.load_profile("every-run")
#: The server of a run on several processes, kept by the one that controls it.
SERVER = pytest.StashKey[PostgresServer]()
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
        """Back to how it was made; for examples of a property within one test."""
        databases.restore(self._tested)

    def spare(self, folder: Path) -> Tested:
        """A database of the same kind without a table."""
        return self._tested.spare(folder)


def _wanted(item: pytest.Item) -> str:
    parameters = getattr(item, "callspec", None)
    if parameters is not None and "database" in parameters.params:
        return str(parameters.params["database"])
    return "postgres" if item.get_closest_marker("postgres") else "sqlite"


def _started(session: pytest.Session, name: str) -> Tested:
    started = session.config.stash.setdefault(STARTED, {})
    if name not in started:
        started[name] = Sqlite() if name == "sqlite" else _postgres(session.config)
    return started[name]


def _postgres(config: pytest.Config) -> Postgres:
    """A database on the server of the run, or on one of its own when there is one process."""
    given = getattr(config, "workerinput", None)
    if given is not None:
        return Postgres(given["postgres"], called=given["workerid"])
    server = PostgresServer()
    return Postgres(server.url("{database}"), called="alone", owned=server)


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    """Before each worker process starts: tell it where the server is."""
    if SERVER not in node.config.stash:
        node.config.stash[SERVER] = PostgresServer()
    node.workerinput["postgres"] = node.config.stash[SERVER].url("{database}")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """A process for every core and one that waits; one alone where a part of the suite is named."""
    named = config.args_source is config.ArgsSource.ARGS
    return 0 if named else (os.cpu_count() or 1) + 1


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> FromBothEnds:
    """In place of what `--dist` names, which only says that there are several processes."""
    return FromBothEnds(config, log)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    put_in_place(items)


def pytest_configure() -> None:
    # Asked to end, a run ends as it does on Ctrl-C, with everything stopped that it started.
    signal.signal(signal.SIGTERM, signal.default_int_handler)


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


def pytest_collection_finish() -> None:
    # What was imported and found lives as long as the run: no collection need look at it again, and
    # whole ones are rare, which took a quarter of some tests' time.
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 10, 50)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    # After the fixtures of a test that a signal broke off: they undo what it wrote.
    for tested in session.config.stash.get(STARTED, {}).values():
        tested.stop()
    if SERVER in session.config.stash:
        session.config.stash[SERVER].stop()
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") == "true" and reporter and reporter.stats.get("skipped"):
        # What is skipped is not proven; a green run must not hide that.
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture(scope="session")
def django_db_setup(request: pytest.FixtureRequest, django_db_blocker: Any) -> None:
    """Make each database that the collected tests need; in place of pytest-django's own."""
    with django_db_blocker.unblock():
        for name in sorted({_wanted(item) for item in request.session.items}):
            make(_started(request.session, name))


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
