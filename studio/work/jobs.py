"""Jobs: rows that say what is to be done, so that no killed worker and no lost message loses it.

A worker claims a job for as long as a task may run at most, does it, and marks it as done in the
transaction of its effect: the effect happens once, though the message may come twice. What nobody
took or finished in time is sent again by the schedule (`resend_overdue`).

    WORKS.register(Work(name="inventory.alerts", prepare=..., write=..., finish=...))
"""

import logging
from collections.abc import Callable, Mapping, Sequence
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, ClassVar

from django.contrib.auth.models import User
from django.db import models, transaction
from django.db.models import Q

from studio.foundation.doers import DoerField, acting
from studio.foundation.registry import Registry
from studio.work.leases import (
    MOST_ATTEMPTS,
    PATIENCE,
    Leased,
    TakenOver,
    claim,
    longest_lease,
    overdue,
    trouble_of,
)
from studio.work.waking import wake

logger = logging.getLogger(__name__)

TASK = "studio.tasks.do_job"
KEPT = timedelta(days=7)

Arguments = Mapping[str, Any]


class JobState(models.TextChoices):
    """A job ends as done or failed, and then keeps its outcome."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


_UNFINISHED = (JobState.WAITING, JobState.RUNNING)


class Job(Leased):
    """Work that was asked for once and must be done once, whatever happens to a worker.

    The queue only wakes a worker up; this row is what is to be done, who has it until when, and
    what came of it. Once `lease_until` has passed, a waiting job is sent again and a running one
    may be taken by another worker. A job with parts is done when all of its parts are.
    """

    taken_values: ClassVar[Mapping[str, Any]] = {"state": JobState.RUNNING}

    name = models.CharField(max_length=60)
    arguments = models.JSONField(default=dict)
    parent = models.ForeignKey(
        "self", on_delete=models.CASCADE, null=True, blank=True, related_name="parts"
    )
    state = models.CharField(max_length=8, choices=JobState.choices, default=JobState.WAITING)
    lease_until = models.DateTimeField()
    outcome = models.JSONField(default=dict)
    created_at = models.DateTimeField(auto_now_add=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    by = DoerField()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["waiting", "running"], finished_at__isnull=True)
                | Q(state__in=["done", "failed"], finished_at__isnull=False),
                name="job_finished_at",
            )
        ]
        indexes = [
            models.Index(
                fields=["lease_until"],
                condition=Q(state__in=["waiting", "running"]),
                name="job_overdue",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.pk} ({self.state})"

    @classmethod
    def to_do(cls, now: datetime) -> Q:
        # Only parts are done by workers; the whole ends with them.
        return Q(parent__isnull=False, state__in=_UNFINISHED)


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


WORKS = Registry[Work]()
_doing: ContextVar[int | None] = ContextVar("doing", default=None)


def shows_costs(name: str) -> bool:
    """Whether what comes of such a job tells costs; of a kind that is not known it may."""
    work = WORKS.get(name)
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
    rows = [
        Job(name=name, arguments=dict(each), parent=job, lease_until=lease, by_id=job.by_id)
        for each in parts
    ]
    wake(TASK, [{"job": each.pk} for each in Job.objects.bulk_create(rows)])
    return job


def do_job(pk: int, *, now: datetime) -> bool:
    """Do a part of a job, unless another worker has it; true when with it the whole job ended."""
    job = claim(Job.objects.all(), pk, now=now, lease=longest_lease())
    if job is None:
        return False
    work = _work_of(job)
    try:
        with acting(lambda: job.by):
            return _do(job, work, now=now)
    except TakenOver:
        logger.warning("Job %s took longer than its lease; another worker has it", pk)
    except Exception as error:  # whatever it was, the row must tell, and the others go on
        logger.exception("Job %s could not be done", pk)
        return _put_back(job, work, trouble_of(error), now=now)
    return False


def resend_overdue(*, now: datetime) -> list[int]:
    """Wake workers up for jobs that nobody took or finished in time. Two queries."""
    found = overdue(Job.objects.all(), now=now)
    wake(TASK, [{"job": pk} for pk in found])
    return found


def _work_of(job: Job) -> Work:
    work = WORKS.get(job.name)
    if work is None:
        raise LookupError(f"No work {job.name} is known to this worker.")
    return work


def _do(job: Job, work: Work, *, now: datetime) -> bool:
    prepared = _prepared(work, job)
    with transaction.atomic():
        job.hold()
        outcome = work.write(job.arguments, prepared, now)
        job.settle(state=JobState.DONE, outcome=outcome, finished_at=now, trouble="")
        return _finish_when_all_are_in(job, work, now=now)


def _prepared(work: Work, job: Job) -> Any:
    doing = _doing.set(job.pk)
    try:
        return work.prepare(job.arguments)
    finally:
        _doing.reset(doing)


def _finish_when_all_are_in(part: Job, work: Work, *, now: datetime) -> bool:
    """End the whole job with its last part. Two queries, and those of `finish` once."""
    # Locked, so that of two parts that end at once the second sees the first.
    job = Job.objects.select_for_update().get(parts=part)
    if job.parts.filter(state__in=_UNFINISHED).exists():
        return False
    failed = job.parts.filter(state=JobState.FAILED).count()
    job.settle(
        state=JobState.FAILED if failed else JobState.DONE,
        outcome=work.finish(job, now),
        finished_at=now,
        trouble=f"{failed} of its parts could not be done." if failed else "",
    )
    return True


@transaction.atomic
def _put_back(job: Job, work: Work, trouble: str, *, now: datetime) -> bool:
    """Let a job that went wrong be tried again later, or end it as failed."""
    try:
        if job.attempts < MOST_ATTEMPTS:
            job.settle(state=JobState.WAITING, lease_until=now + PATIENCE, trouble=trouble)
            return False
        job.settle(state=JobState.FAILED, outcome={}, finished_at=now, trouble=trouble)
        return _finish_when_all_are_in(job, work, now=now)
    except TakenOver:
        return False
