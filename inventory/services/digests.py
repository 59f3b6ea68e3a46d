"""Digest mails: written with the alerts they tell of, sent after those are committed.

Sending is at least once. A digest is claimed for a while, sent, then marked as sent; a worker
that dies between sending and marking leaves a digest that another sends again when the claim
runs out. A mail that comes twice is the price for one that never fails to come; both carry the
same Message-ID, by which most mailboxes show them as one.
"""

import logging
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.mail import EmailMessage
from django.db import transaction
from django.db.models import F, Q
from django.template.loader import render_to_string
from django.utils import timezone

from inventory.models import Alert, Digest
from inventory.services.alert_registry import Cause, causes
from inventory.services.turns import take_turn
from studio.roles import Role

logger = logging.getLogger(__name__)

TEMPLATE = "inventory/alert_digest.txt"
#: Of one kind; a mail of thousands is read by nobody.
MOST_TOLD = 100
#: Longer than any mail server is waited for; after it another worker may send.
CLAIM = timedelta(minutes=15)
NOBODY = "There is nobody to send it to: set STUDIO_MAIL_TO or give an owner an e-mail address."


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What a round of sending did."""

    sent: int = 0
    failed: int = 0
    kept: int = 0


@transaction.atomic
def write_digest(*, now: datetime) -> Digest | None:
    """Write, but do not send, one mail of all open alerts that nobody was told of yet.

    None when there are none. Two writers at once make one mail: the second waits for its turn and
    finds nothing left. Four queries, and those of the causes for their words.
    """
    take_turn("inventory.digest")
    on = timezone.localdate(now)
    untold = Alert.objects.filter(
        closed_at__isnull=True, digest__isnull=True, snoozed_until__isnull=True
    )
    by_kind: dict[str, list[Alert]] = defaultdict(list)
    for alert in untold.order_by("name", "pk"):
        by_kind[alert.kind].append(alert)
    found = [(cause, by_kind[cause.kind]) for cause in causes() if cause.kind in by_kind]
    if not found:
        return None
    subject = "; ".join(
        cause.headline([one_line(alert.name) for alert in alerts]) for cause, alerts in found
    )
    body = render_to_string(
        TEMPLATE,
        {
            "sections": [_section(cause, alerts, on=on) for cause, alerts in found],
            "studio": settings.STUDIO_NAME,
            "on": on.isoformat(),
        },
    )
    digest = Digest.objects.create(
        subject=one_line(f"{settings.STUDIO_NAME}: {subject}"), body=body
    )
    untold.filter(kind__in=[cause.kind for cause, _ in found]).update(digest=digest)
    return digest


def _section(cause: Cause, alerts: Sequence[Alert], *, on: date) -> dict[str, Any]:
    """One kind of cause as the mail shows it; of very many alerts only the first."""
    items = [
        {
            "heading": one_line(heading),
            "lines": [f"{label + ':':<14} {words}" for label, words in lines],
        }
        for heading, lines in cause.words(alerts[:MOST_TOLD], on)
    ]
    return {
        "title": cause.title,
        "rule": "-" * len(cause.title),
        "intro": cause.intro,
        "items": items,
        "more": len(alerts) - len(items),
    }


def send_digests(*, now: datetime) -> Sent:
    """Send what was written and not yet sent; safe to run in several workers at once.

    One digest that fails doesn't hold up the others: it is tried again when its claim has run
    out. With nobody to send to, a digest is kept, says so, and goes out once there is somebody.
    """
    due = Digest.objects.filter(_unclaimed(now)).order_by("pk").values_list("pk", flat=True)
    waiting = list(due)
    if not waiting:
        return Sent()
    recipients = recipients_now()
    if not recipients:
        Digest.objects.filter(_unclaimed(now), pk__in=waiting).update(trouble=NOBODY)
        return Sent(kept=len(waiting))
    outcomes = [_send(pk, recipients, now=now) for pk in waiting]
    return Sent(sent=outcomes.count(True), failed=outcomes.count(False))


def recipients_now() -> list[str]:
    """Whom a digest goes to: STUDIO_MAIL_TO, else every owner who has an e-mail address."""
    if settings.STUDIO_MAIL_TO:
        return list(settings.STUDIO_MAIL_TO)
    owners = get_user_model().objects.filter(
        Q(membership__role=Role.OWNER) | Q(is_superuser=True, membership__isnull=True),
        is_active=True,
    )
    return list(owners.exclude(email="").order_by("pk").values_list("email", flat=True))


def claim(pk: int, *, now: datetime) -> bool:
    """Take a digest to send it; False when another worker has it or it was sent. One query."""
    claimed = Digest.objects.filter(_unclaimed(now), pk=pk).update(
        claimed_until=now + CLAIM, attempts=F("attempts") + 1
    )
    return claimed == 1


def _unclaimed(now: datetime) -> Q:
    return Q(sent_at__isnull=True) & (Q(claimed_until__isnull=True) | Q(claimed_until__lte=now))


def _send(pk: int, recipients: list[str], *, now: datetime) -> bool | None:
    """True when sent, False when the mail server refused, None when another has it."""
    if not claim(pk, now=now):
        return None
    digest = Digest.objects.get(pk=pk)
    try:
        _message(digest, recipients).send()
    except Exception as error:  # whatever a mail backend raises, the next digest must go out
        logger.exception("Digest %s could not be sent", pk)
        Digest.objects.filter(pk=pk).update(trouble=f"{type(error).__name__}: {error}"[:200])
        return False
    Digest.objects.filter(pk=pk).update(
        sent_at=now, claimed_until=None, recipients=recipients, trouble=""
    )
    return True


def _message(digest: Digest, recipients: list[str]) -> EmailMessage:
    domain = settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].rstrip("> ") or "localhost"
    written = int(digest.created_at.timestamp())
    return EmailMessage(
        subject=digest.subject,
        body=digest.body,
        to=recipients,
        headers={"Message-ID": f"<digest-{digest.pk}-{written}@{domain}>"},
    )


def one_line(text: str) -> str:
    """Without line breaks, which a mail's subject must not have, and within its column."""
    return " ".join(text.split())[:200]
