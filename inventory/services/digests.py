"""Digest mails: written with the alerts they tell of, sent after those are committed.

Sending is at least once; see `studio.outbox`.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.mail import EmailMessage
from django.db import transaction
from django.db.models import Q
from django.template.loader import render_to_string
from django.utils import timezone

from inventory.models import Alert, Digest
from inventory.services.alert_registry import CAUSES, Cause
from inventory.services.turns import take_turn
from studio import outbox
from studio.roles import Role

TEMPLATE = "inventory/alert_digest.txt"
#: Of one kind; a mail of thousands is read by nobody.
MOST_TOLD = 100
CLAIM = outbox.CLAIM
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
    found = [(cause, by_kind[cause.kind]) for cause in CAUSES if cause.kind in by_kind]
    if not found:
        return None
    subject = "; ".join(
        cause.headline([outbox.one_line(alert.name) for alert in alerts]) for cause, alerts in found
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
        subject=outbox.one_line(f"{settings.STUDIO_NAME}: {subject}"), body=body
    )
    untold.filter(kind__in=[cause.kind for cause, _ in found]).update(digest=digest)
    return digest


def _section(cause: Cause, alerts: Sequence[Alert], *, on: date) -> dict[str, Any]:
    """One kind of cause as the mail shows it; of very many alerts only the first."""
    items = [
        {
            "heading": outbox.one_line(heading),
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
    waiting = outbox.waiting(Digest.objects.all(), now=now)
    if not waiting:
        return Sent()
    recipients = recipients_now()
    if not recipients:
        outbox.note_trouble(Digest.objects.all(), waiting, NOBODY, now=now)
        return Sent(kept=len(waiting))
    mails = outbox.send_all(
        Digest.objects.all(),
        lambda digest: _message(digest, recipients),
        now=now,
        due=waiting,
        marks={"recipients": recipients},
    )
    return Sent(sent=mails.sent, failed=mails.failed)


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
    return outbox.claim(Digest.objects.all(), pk, now=now)


def _message(digest: Digest, recipients: list[str]) -> EmailMessage:
    return EmailMessage(
        subject=digest.subject,
        body=digest.body,
        to=recipients,
        headers={"Message-ID": outbox.message_id("digest", digest.pk, written=digest.created_at)},
    )
