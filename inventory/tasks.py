"""What the inventory does in the background. Each task makes one call of a service.

All may run twice, late, or at the same time without harm: they are scans of the database, or do a
job whose row says whether it is still to be done. `at` is the moment to act for, in ISO 8601 with
its offset; without it, now.
"""

from datetime import datetime

from celery import shared_task
from django.utils import timezone

from inventory.services import (
    alert_rounds,
    alerts,
    digests,
    jobs,
    purchase_papers,
    reservations,
    webhooks,
)


@shared_task(name="inventory.tasks.raise_alerts")
def raise_alerts(*, at: str = "") -> None:
    """Look for what needs looking after. What is new is told at once, not with the next round."""
    _tell(alert_rounds.look_round(now=_moment(at)))


@shared_task(name="inventory.tasks.look_for")
def look_for(*, kind: str, asked: str, at: str = "") -> None:
    """Look for one kind of cause soon after something changed; the rounds look for it as well."""
    _tell(alerts.look_for(kind, asked=_moment(asked), now=_moment(at)))


@shared_task(name="inventory.tasks.do_job")
def do_job(*, job: int, at: str = "") -> None:
    """Do one part of a job, unless another worker has it; with the last one, tell what is new."""
    if jobs.do_job(job, now=_moment(at)):
        send_digests.delay()
        send_webhooks.delay()


@shared_task(name="inventory.tasks.resend_jobs")
def resend_jobs(*, at: str = "") -> None:
    """Send jobs again that a killed worker left behind or whose message was lost."""
    jobs.resend_overdue(now=_moment(at))


@shared_task(name="inventory.tasks.send_digests")
def send_digests(*, at: str = "") -> None:
    """Send the digests that were written and not yet sent."""
    digests.send_digests(now=_moment(at))


@shared_task(name="inventory.tasks.send_webhooks")
def send_webhooks(*, at: str = "") -> None:
    """Send other programs what was written for them and is due."""
    webhooks.send_webhooks(now=_moment(at))


@shared_task(name="inventory.tasks.send_order_mails")
def send_order_mails(*, at: str = "") -> None:
    """Send suppliers the orders that were written to them and not yet sent."""
    purchase_papers.send_order_mails(now=_moment(at))


@shared_task(name="inventory.tasks.expire_reservations")
def expire_reservations(*, at: str = "") -> None:
    """Give back what reservations past their date still hold."""
    reservations.expire_reservations(today=timezone.localtime(_moment(at)).date())


def _tell(made: alerts.Round | None) -> None:
    """Have what a look at alerts has written sent."""
    if made is not None and made.digest is not None:
        send_digests.delay()
    if made is not None and made.opened + made.closed:
        send_webhooks.delay()


def _moment(at: str) -> datetime:
    return datetime.fromisoformat(at) if at else timezone.now()
