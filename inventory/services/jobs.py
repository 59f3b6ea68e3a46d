"""Jobs: rows that say what is to be done, so that no killed worker and no lost message loses it.

A worker claims a job for as long as a task may run at most, does it, and marks it as done in the
transaction of its effect: the effect happens once, though the message may come twice. What nobody
took or finished in time is sent again by the schedule (`resend_overdue`).

    register_work(Work(name="inventory.alerts", prepare=..., write=..., finish=...))
"""

import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from celery import current_app
from django.conf import settings
from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import F, Q

from inventory.models import Job, JobState

logger = logging.getLogger(__name__)

TASK = "inventory.tasks.do_job"
#: A message that no worker took for so long is taken for lost.
PATIENCE = timedelta(minutes=2)
MOST_ATTEMPTS = 5
KEPT = timedelta(days=7)
_UNFINISHED = (JobState.WAITING, JobState.RUNNING)

Arguments = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """A kind of job. `prepare` reads and computes outside of a transaction, so that workers do not
    wait for each other; `write` has its effect inside one and returns what came of it; `finish` is
    called once, in the transaction of the part that ended last, with the job whose parts are in.
    What comes of a job that `shows_costs` is for those who may see costs; each kind must say it.
    """

    name: str
    prepare: Callable[[Arguments], Any]
    write: Callable[[Arguments, Any, datetime], dict[str, Any]]
    finish: Callable[[Job, datetime], dict[str, Any]]
    shows_costs: bool


_works: dict[str, Work] = {}
_doing: ContextVar[int | None] = ContextVar("doing", default=None)


class TakenOver(Exception):
    """Another worker has the job since this one's lease ran out: nothing of this one may stay."""


def register_work(work: Work) -> None:
    """Make a kind of job known."""
    _works[work.name] = work


def shows_costs(name: str) -> bool:
    """Whether what comes of such a job tells costs; of a kind that is not known it may."""
    work = _works.get(name)
    return work is None or work.shows_costs


def tell(progress: Mapping[str, Any]) -> None:
    """Say from within `prepare` how far the job has come; of no effect outside of a job.

    It stands as the outcome of the part until the part ends. One query.
    """
    pk = _doing.get()
    if pk is not None:
        Job.objects.filter(pk=pk, state=JobState.RUNNING).update(outcome=dict(progress))


def unfinished(name: str) -> bool:
    """Whether a job of that name is still to be done. One query."""
    return Job.objects.filter(name=name, parent=None, state__in=_UNFINISHED).exists()


@transaction.atomic
def start(
    *,
    name: str,
    arguments: Arguments,
    parts: Sequence[Arguments],
    by: User | None,
    now: datetime,
) -> Job:
    """Keep a job with its parts, and have workers woken up once that is committed. Three queries.

    Jobs that ended long ago are forgotten.
    """
    Job.objects.filter(finished_at__lt=now - KEPT, parent=None).delete()
    lease = now + PATIENCE
    job = Job.objects.create(
        name=name,
        arguments=dict(arguments),
        state=JobState.RUNNING,
        lease_until=lease,
        by_id=by.pk if by else None,
    )
    rows = [Job(name=name, arguments=dict(each), parent=job, lease_until=lease) for each in parts]
    made = Job.objects.bulk_create(rows)
    transaction.on_commit(partial(wake, [each.pk for each in made]))
    return job


def wake(jobs: Iterable[int]) -> None:
    """Send a message for each job. What cannot be sent now is sent again by the schedule."""
    for pk in jobs:
        try:
            current_app.send_task(TASK, kwargs={"job": pk})
        except current_app.connection_for_write().connection_errors:
            logger.exception("Job %s waits: the queue cannot be reached", pk)
            return


def do_job(pk: int, *, now: datetime) -> bool:
    """Do a part of a job, unless another worker has it; true when with it the whole job ended."""
    job = _claim(pk, now=now)
    if job is None:
        return False
    work = _works[job.name]
    try:
        prepared = _prepared(work, job)
        with transaction.atomic():
            _hold(job)
            _end(job, work.write(job.arguments, prepared, now), now=now)
            ended = _finish_when_all_are_in(job, work, now=now)
    except TakenOver:
        logger.warning("Job %s took longer than its lease; another worker has it", pk)
        return False
    except Exception as error:  # whatever it was, the row must tell, and the others go on
        logger.exception("Job %s could not be done", pk)
        return _put_back(job, work, error, now=now)
    return ended


def _prepared(work: Work, job: Job) -> Any:
    doing = _doing.set(job.pk)
    try:
        return work.prepare(job.arguments)
    finally:
        _doing.reset(doing)


def resend_overdue(*, now: datetime) -> list[int]:
    """Wake workers up for jobs that nobody took or finished in time. Two queries."""
    overdue = Job.objects.filter(
        parent__isnull=False, state__in=_UNFINISHED, lease_until__lte=now
    ).order_by("pk")
    found = list(overdue.values_list("pk", flat=True))
    # Running ones keep their lapsed lease, by which a worker may take them.
    Job.objects.filter(pk__in=found, state=JobState.WAITING).update(lease_until=now + PATIENCE)
    wake(found)
    return found


def _claim(pk: int, *, now: datetime) -> Job | None:
    """Take a job until its lease ends; None when another has it or it is over. Two queries."""
    free = Q(state=JobState.WAITING) | Q(state=JobState.RUNNING, lease_until__lte=now)
    # Longer than any task is let run: whoever had it before is dead by then.
    lease = timedelta(seconds=settings.CELERY_TASK_TIME_LIMIT + 60)
    claimed = Job.objects.filter(free, pk=pk, parent__isnull=False).update(
        state=JobState.RUNNING, lease_until=now + lease, attempts=F("attempts") + 1
    )
    return Job.objects.get(pk=pk) if claimed else None


def _hold(job: Job) -> None:
    """Lock the job's row. Raises TakenOver when it is another worker's by now. One query."""
    mine = Job.objects.select_for_update().filter(
        pk=job.pk, state=JobState.RUNNING, attempts=job.attempts
    )
    if not mine.values_list("pk", flat=True).first():
        raise TakenOver


def _end(
    job: Job,
    outcome: Mapping[str, Any],
    *,
    now: datetime,
    state: JobState = JobState.DONE,
    trouble: str = "",
) -> None:
    job.state, job.outcome, job.finished_at, job.trouble = state, dict(outcome), now, trouble
    job.save(update_fields=["state", "outcome", "finished_at", "trouble"])


def _finish_when_all_are_in(part: Job, work: Work, *, now: datetime) -> bool:
    """End the whole job with its last part. Two queries, and those of `finish` once."""
    # Locked, so that of two parts that end at once the second sees the first.
    assert part.parent_id is not None  # only parts are claimed
    job = Job.objects.select_for_update().get(pk=part.parent_id)
    if job.parts.filter(state__in=_UNFINISHED).exists():
        return False
    failed = job.parts.filter(state=JobState.FAILED).count()
    _end(
        job,
        work.finish(job, now),
        now=now,
        state=JobState.FAILED if failed else JobState.DONE,
        trouble=f"{failed} of its parts could not be done." if failed else "",
    )
    return True


@transaction.atomic
def _put_back(job: Job, work: Work, error: Exception, *, now: datetime) -> bool:
    """Let a job that went wrong be tried again later, or end it as failed."""
    trouble = f"{type(error).__name__}: {error}"[:200]
    try:
        _hold(job)
    except TakenOver:
        return False
    if job.attempts < MOST_ATTEMPTS:
        Job.objects.filter(pk=job.pk).update(
            state=JobState.WAITING, lease_until=now + PATIENCE, trouble=trouble
        )
        return False
    _end(job, {}, now=now, state=JobState.FAILED, trouble=trouble)
    return _finish_when_all_are_in(job, work, now=now)
