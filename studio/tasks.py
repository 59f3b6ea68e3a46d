"""What the studio itself does in the background. Each task makes one call.

All may run twice, late, or at the same time without harm: they are scans of the database, or do
what a row says that is still to be done. `at` is the moment to act for, in ISO 8601 with its
offset; without it, now.
"""

from celery import shared_task

from studio.web import idempotency
from studio.work import digests, jobs
from studio.work.exchange import runs
from studio.work.waking import moment, wake
from studio.work.webhooks import sending


@shared_task(name="studio.tasks.forget_old_keys")
def forget_old_keys() -> None:
    """Forget answers that are kept under keys too old to be sent again."""
    idempotency.forget_old_keys(moment(""))


@shared_task(name="studio.tasks.do_import")
def do_import(*, run: int, at: str = "") -> None:
    """Carry an import on, unless another worker has it."""
    runs.do_import(run, clock=lambda: moment(at))


@shared_task(name="studio.tasks.resend_imports")
def resend_imports(*, at: str = "") -> None:
    """Wake workers for imports that a killed one left behind or whose message was lost."""
    runs.resend_overdue(now=moment(at))


@shared_task(name="studio.tasks.do_job")
def do_job(*, job: int, at: str = "") -> None:
    """Do one part of a job, unless another worker has it; with the last one, tell what is new."""
    if jobs.do_job(job, now=moment(at)):
        wake(digests.TASK)
        wake(sending.TASK)


@shared_task(name="studio.tasks.resend_jobs")
def resend_jobs(*, at: str = "") -> None:
    """Wake workers for jobs that a killed one left behind or whose message was lost."""
    jobs.resend_overdue(now=moment(at))


@shared_task(name="studio.tasks.send_digests")
def send_digests(*, at: str = "") -> None:
    """Send the digests that were written and not yet sent."""
    digests.send_digests(now=moment(at))


@shared_task(name="studio.tasks.send_webhooks")
def send_webhooks(*, at: str = "") -> None:
    """Send other programs what was written for them and is due."""
    sending.send_webhooks(now=moment(at))
