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
def do_import(*, run: int) -> None:
    """Carry an import on, unless another worker has it."""
    runs.do_import(run, clock=timezone.now)


@shared_task(name="studio.tasks.resend_imports")
def resend_imports(*, at: str = "") -> None:
    """Wake workers for imports that a killed one left behind; `at` is in ISO 8601, else now."""
    runs.resend_overdue(now=datetime.fromisoformat(at) if at else timezone.now())
