"""What the studio itself does in the background."""

from celery import shared_task
from django.utils import timezone

from studio import idempotency


@shared_task(name="studio.tasks.forget_old_keys")
def forget_old_keys() -> None:
    """Forget answers that are kept under keys too old to be sent again."""
    idempotency.forget_old_keys(timezone.now())
