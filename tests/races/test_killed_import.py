"""A worker killed in the middle of an import: its progress was told, nothing is half done.

The worker stops at a named place (see tests.probe) and is killed there with SIGKILL. The schedule
finds its lease lapsed, and a second worker does all of it, once.
"""

import fcntl
from contextlib import contextmanager
from datetime import timedelta

import pytest
from django.db import transaction
from django.utils import timezone

from inventory.models.catalog.materials import Material
from studio import tasks
from studio.models import ImportRun
from studio.work.exchange import runs, starting
from tests import brokers
from tests.studio.web.api.people import person
from tests.workers import Worker

CHECKED = "a part of the rows is checked"
IN = "the rows are in, not committed"
ROWS = 120
FILE = "code,name,kind\n" + "".join(f"m-{n},Material {n},additive\n" for n in range(ROWS))


@contextmanager
def held(folder):
    """The lock for which a worker waits at its place."""
    with (folder / "held").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


@pytest.fixture
def broker(tmp_path):
    yield from brokers.of("embedded", tmp_path)


@pytest.fixture
def workers(database, broker, tmp_path):
    """Starts workers; whatever still runs in the end is killed."""
    started = []

    def start(**more):
        log = tmp_path / f"worker-{len(started)}.log"
        environment = {**broker.environment, **more}
        started.append(Worker(database_url=database.url, log=log, more=environment))
        return started[-1]

    yield start
    for worker in started:
        worker.stop()


def handed_in():
    """A file to be checked and imported, its message sent by the commit itself."""
    with transaction.atomic():
        return starting.start_import(
            "materials", FILE.encode(), dry_run=False, by=person(), now=timezone.now()
        )


def now_of(run):
    run.refresh_from_db()
    return run


def finished_by(worker, broker, run):
    """What the schedule's round after the lease makes of it."""
    late = timezone.now() + timedelta(hours=1)
    broker.send(tasks.resend_imports, at=late.isoformat())
    # The round's messages carry no moment: the lapsed lease is that of an hour later.
    broker.send(tasks.do_import, run=run.pk, at=late.isoformat())
    worker.wait_until(lambda: now_of(run).finished_at, what="the import is finished")


@pytest.mark.worker
def test_a_check_that_was_killed_told_its_progress_and_is_done_anew(
    workers, broker, database, tmp_path
):
    with held(tmp_path):
        first = workers(TESTED_STOP=CHECKED, TESTED_FOLDER=str(tmp_path))
        run = handed_in()
        first.wait_until((tmp_path / "reached").exists, what="a part is checked")
        shown = now_of(run)
        assert (shown.state, shown.rows_checked, shown.rows_total) == ("checking", 100, ROWS)
        first.stop()
    assert Material.objects.count() == 0
    finished_by(workers(), broker, run)
    assert (run.state, run.created, run.faults) == ("done", ROWS, [])
    assert Material.objects.count() == ROWS


@pytest.mark.worker
def test_an_import_that_was_killed_leaves_nothing_and_is_done_once(
    workers, broker, database, tmp_path
):
    run = handed_in()
    runs.do_import(run.pk, clock=timezone.now)
    assert now_of(run).state == "importing"
    with held(tmp_path):
        first = workers(TESTED_STOP=IN, TESTED_FOLDER=str(tmp_path))
        broker.send(tasks.do_import, run=run.pk)
        first.wait_until((tmp_path / "reached").exists, what="the rows are in")
        assert Material.objects.count() == 0
        first.stop()
    assert (now_of(run).state, Material.objects.count()) == ("importing", 0)
    second = workers()
    finished_by(second, broker, run)
    second.wait_for([broker.send(tasks.do_import, run=run.pk) for _ in range(2)])
    assert (now_of(run).state, run.created) == ("done", ROWS)
    assert Material.objects.count() == Material.history.count() == ROWS
    assert ImportRun.objects.count() == 1
