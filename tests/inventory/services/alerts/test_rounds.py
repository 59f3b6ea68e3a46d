"""A round in parts: the same alerts as a round at once, one mail, and nothing twice or lost."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from django.conf import settings as conf
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models.alerts.alerts import Alert
from inventory.services.alerts.alerts import raise_alerts
from inventory.services.alerts.rounds import look_round, start_round
from studio.work import jobs
from studio.work.digests import Digest
from studio.work.jobs import Job, JobState
from tests import brokers
from tests.inventory.buying import an_oil
from tests.inventory.making import KG, TODAY, make_lot
from tests.threads import at_once

NOW = datetime(TODAY.year, TODAY.month, TODAY.day, 12, tzinfo=UTC)
LEASE = timedelta(seconds=conf.CELERY_TASK_TIME_LIMIT + 60)


@pytest.fixture(autouse=True)
def _queue():
    """What is sent stays in the embedded queue; the parts are done by the tests themselves."""
    yield from brokers.embedded()


def oils(count):
    """Every second runs low."""
    return [an_oil(f"oil-{n:03}", reorder_point=(KG if n % 2 else None)) for n in range(count)]


def parts_of(job):
    return list(job.parts.order_by("pk").values_list("pk", flat=True))


def open_subjects():
    found = Alert.objects.filter(closed_at=None)
    return sorted(found.values_list("kind", "subject", "reason"))


def test_parts_find_what_a_round_at_once_finds(database):
    oils(11)
    job = start_round(now=NOW, by=None, part_size=3)
    pks = parts_of(job)
    ended = [jobs.do_job(pk, now=NOW) for pk in reversed(pks)]
    assert ended == [False] * (len(pks) - 1) + [True]
    found = open_subjects()
    assert len(found) == 5
    job.refresh_from_db()
    digest = Digest.objects.get()
    assert (job.state, job.outcome["opened"], job.outcome["digest"]) == ("done", 5, digest.pk)
    at_one = raise_alerts(now=NOW)
    assert (at_one.opened, at_one.closed, at_one.digest) == (0, 0, None)
    assert open_subjects() == found


def test_parts_cover_new_materials_and_close_what_recovered(db):
    held = oils(6)
    raise_alerts(now=NOW)
    job = start_round(now=NOW, by=None, part_size=2)
    late = an_oil("zz-late", reorder_point=KG)
    make_lot(held[1], 5 * KG)
    for pk in parts_of(job):
        jobs.do_job(pk, now=NOW)
    subjects = {subject for _, subject, _ in open_subjects()}
    assert subjects == {f"material:{oil.code}" for oil in (held[3], held[5], late)}


def test_workers_that_share_a_round_write_one_mail(database):
    oils(24)
    job = start_round(now=NOW, by=None, part_size=4)
    ended = at_once(lambda pk: jobs.do_job(pk, now=NOW), parts_of(job))
    assert sorted(ended) == [False] * (len(ended) - 1) + [True]
    assert Alert.objects.count() == 12 and Digest.objects.count() == 1


def test_a_part_is_done_once_though_its_message_comes_twice(database):
    oils(4)
    job = start_round(now=NOW, by=None, part_size=100)
    first = parts_of(job)[0]
    at_once(lambda _: jobs.do_job(first, now=NOW), range(4))
    done = Job.objects.get(pk=first)
    assert (done.state, done.attempts, done.outcome["opened"]) == ("done", 1, 2)
    assert not jobs.do_job(first, now=NOW + 2 * LEASE)


def test_what_a_dead_worker_had_is_done_by_another_when_its_lease_is_over(db):
    oils(4)
    job = start_round(now=NOW, by=None, part_size=100)
    first, *others = parts_of(job)
    Job.objects.filter(pk=first).update(state=JobState.RUNNING, attempts=1, lease_until=NOW + LEASE)
    for pk in others:
        jobs.do_job(pk, now=NOW)
    assert jobs.resend_overdue(now=NOW + LEASE - timedelta(seconds=1)) == []
    assert not jobs.do_job(first, now=NOW)
    assert jobs.resend_overdue(now=NOW + LEASE) == [first]
    assert jobs.do_job(first, now=NOW + LEASE)
    assert Alert.objects.count() == 2 and Digest.objects.count() == 1


def test_a_worker_whose_lease_was_over_leaves_nothing(db):
    oils(4)
    first = parts_of(start_round(now=NOW, by=None, part_size=100))[0]
    work = jobs.WORKS.get("inventory.alerts")

    def slow(arguments):
        found = work.prepare(arguments)
        jobs.WORKS.register(work)
        jobs.do_job(first, now=NOW + LEASE)  # another takes it, and is first
        return found

    slowly = replace(work, prepare=slow)
    jobs.WORKS.register(slowly)
    try:
        assert not jobs.do_job(first, now=NOW)
    finally:
        jobs.WORKS.register(work)
    assert (Job.objects.get(pk=first).attempts, Alert.objects.count()) == (2, 2)


def test_a_message_that_was_lost_is_sent_again(db):
    oils(2)
    job = start_round(now=NOW, by=None)
    assert jobs.resend_overdue(now=NOW + timedelta(seconds=119)) == []
    assert jobs.resend_overdue(now=NOW + jobs.PATIENCE) == parts_of(job)
    assert jobs.resend_overdue(now=NOW + jobs.PATIENCE) == []


def test_a_second_round_waits_for_the_first(database):
    oils(3)
    started = at_once(lambda _: start_round(now=NOW, by=None), range(3))
    assert len([job for job in started if job is not None]) == 1


def test_a_part_that_cannot_be_done_is_tried_again_and_then_told(db):
    oils(2)
    job = start_round(now=NOW, by=None)
    first, *others = parts_of(job)
    Job.objects.filter(pk=first).update(arguments={"kind": "no-such-cause"})
    now = NOW
    for _ in range(jobs.MOST_ATTEMPTS):
        assert not jobs.do_job(first, now=now)
        now += jobs.PATIENCE
    failed = Job.objects.get(pk=first)
    assert failed.state == "failed" and "no-such-cause" in failed.trouble
    for pk in others:
        jobs.do_job(pk, now=now)
    job.refresh_from_db()
    assert (job.state, job.trouble) == ("failed", "1 of its parts could not be done.")


def test_small_studios_look_at_once_and_large_ones_in_parts(db, settings):
    oils(4)
    settings.STUDIO_ALERT_PART = 4
    assert look_round(now=NOW).opened == 2 and not Job.objects.exists()
    settings.STUDIO_ALERT_PART = 3
    assert look_round(now=NOW) is None
    kinds = [part.arguments["kind"] for part in Job.objects.get(parent=None).parts.all()]
    assert kinds.count("low-stock") == 2 and kinds.count("late-delivery") == 1


@pytest.mark.parametrize("count", [4, 40])
def test_a_part_takes_the_same_queries_for_any_number_of_materials(db, count):
    oils(count)
    first = parts_of(start_round(now=NOW, by=None, part_size=100))[0]
    with CaptureQueriesContext(connection) as captured:
        jobs.do_job(first, now=NOW)
    control = ("BEGIN", "COMMIT", "SAVEPOINT", "RELEASE")
    made = [q["sql"] for q in captured if not q["sql"].startswith(control)]
    reads = [sql for sql in made if sql.startswith(("SELECT", "WITH"))]
    about_jobs = [sql for sql in made if '"studio_job"' in sql]
    # Positions 5, open alerts, whom to tell; and it opens the alerts.
    assert len(reads) - sum(sql in about_jobs for sql in reads) == 7
    assert len(made) - len(about_jobs) == 8
