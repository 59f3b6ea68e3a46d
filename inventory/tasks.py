"""What the inventory does in the background. Each task makes one call of a service.

All are scans of the database that may run twice, late, or at the same time without harm.
`at` is the moment to act for, in ISO 8601 with its offset; without it, now.
"""

from datetime import datetime

from celery import shared_task
from django.utils import timezone

from inventory.services import alerts, digests, reservations


@shared_task(name="inventory.tasks.raise_low_stock_alerts")
def raise_low_stock_alerts(*, at: str = "") -> None:
    """Find what runs low. New alerts are mailed at once, without waiting for the next round."""
    scan = alerts.raise_low_stock_alerts(now=_moment(at))
    if scan.digest is not None:
        send_digests.delay()


@shared_task(name="inventory.tasks.send_digests")
def send_digests(*, at: str = "") -> None:
    """Send the digests that were written and not yet sent."""
    digests.send_digests(now=_moment(at))


@shared_task(name="inventory.tasks.expire_reservations")
def expire_reservations(*, at: str = "") -> None:
    """Give back what reservations past their date still hold."""
    reservations.expire_reservations(today=timezone.localtime(_moment(at)).date())


def _moment(at: str) -> datetime:
    return datetime.fromisoformat(at) if at else timezone.now()
