"""What the studio itself does in the background."""

from datetime import datetime

from celery import shared_task
from django.utils import timezone

from studio import idempotency
from studio.exchange import runs


@shared_task(name="studio.tasks.forget_old_keys")
def forget_old_keys() -> None:
    """Forget answers that are kept under keys too old to be sent again."""
    idempotency.forget_old_keys(timezone.now())


@shared_task(name="studio.tasks.do_import")
def do_import(*, run: int, at: str = "") -> None:
    """Carry an import on, unless another worker has it. `at` as below."""
    runs.do_import(run, clock=lambda: _moment(at))


@shared_task(name="studio.tasks.resend_imports")
def resend_imports(*, at: str = "") -> None:
    """Wake workers for imports that a killed one left behind.

    `at` is the moment to act for, in ISO 8601 with its offset; without it, now.
    """
    runs.resend_overdue(now=_moment(at))


def _moment(at: str) -> datetime:
    return datetime.fromisoformat(at) if at else timezone.now()
