"""What costing does in the background. Each task makes one call of a service.

All may run twice, late, or at the same time without harm: they are scans of the database. `at` is
the moment to act for, in ISO 8601 with its offset; without it, now.
"""

from celery import shared_task
from django.utils import timezone

from costing.services.quotes import letter as quote_mail
from costing.services.quotes import quotes
from studio.work.waking import moment


@shared_task(name="costing.tasks.send_quote_mails")
def send_quote_mails(*, at: str = "") -> None:
    """Send customers the quotes that were written to them and not yet sent."""
    quote_mail.send_quote_mails(now=moment(at))


@shared_task(name="costing.tasks.expire_quotes")
def expire_quotes(*, at: str = "") -> None:
    """Mark sent quotes whose last day is over as expired."""
    quotes.expire_quotes(on=timezone.localtime(moment(at)).date())
