"""What the inventory does in the background. Each task makes one call of a service.

All may run twice, late, or at the same time without harm: they are scans of the database, or do a
job whose row says whether it is still to be done. `at` is the moment to act for, in ISO 8601 with
its offset; without it, now.
"""

from celery import shared_task
from django.utils import timezone

from inventory.services.alerts import alerts
from inventory.services.alerts import rounds as alert_rounds
from inventory.services.buying import order_papers as purchase_papers
from inventory.services.stock import reservations
from studio.work import digests
from studio.work.waking import moment, wake
from studio.work.webhooks import sending


@shared_task(name="inventory.tasks.raise_alerts")
def raise_alerts(*, at: str = "") -> None:
    """Look for what needs looking after. What is new is told at once, not with the next round."""
    _tell(alert_rounds.look_round(now=moment(at)))


@shared_task(name="inventory.tasks.look_for")
def look_for(*, kind: str, asked: str, at: str = "") -> None:
    """Look for one kind of cause soon after something changed; the rounds look for it as well."""
    _tell(alerts.look_for(kind, asked=moment(asked), now=moment(at)))


@shared_task(name="inventory.tasks.send_order_mails")
def send_order_mails(*, at: str = "") -> None:
    """Send suppliers the orders that were written to them and not yet sent."""
    purchase_papers.send_order_mails(now=moment(at))


@shared_task(name="inventory.tasks.expire_reservations")
def expire_reservations(*, at: str = "") -> None:
    """Give back what reservations past their date still hold."""
    reservations.expire_reservations(today=timezone.localtime(moment(at)).date())


def _tell(made: alerts.Round | None) -> None:
    """Have what a look at alerts has written sent."""
    if made is not None and made.digest is not None:
        wake(digests.TASK)
    if made is not None and made.opened + made.closed:
        wake(sending.TASK)
