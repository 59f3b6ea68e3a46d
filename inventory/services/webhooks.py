"""Telling other programs of alerts: written with the alert, sent after it is committed.

Sending is at least once: what was sent but not marked, because the worker died, is sent again
with the same event id. A target that fails is tried again at waits that grow, then left as dead
until somebody asks for it again.
"""

import json
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import F, Q
from django.utils import timezone

from inventory.domain.webhooks import KEY_BYTES, secret_text, signature, wait_after
from inventory.errors import WebhookDelivered
from inventory.models import Alert, WebhookDelivery, WebhookTarget
from inventory.services.alert_registry import shown_figures
from inventory.services.webhook_posting import Answer, post
from studio.errors import NotFound

#: Longer than one message takes; after it another worker may send it.
CLAIM = timedelta(minutes=2)
#: So many in a round keep it within a task's time even when every target lets us wait.
MOST_A_ROUND = 40


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened to an alert: "opened", "reopened" or "closed"."""

    what: str
    alert: Alert

    @property
    def id(self) -> str:
        """The same for the same happening, however often it is written or sent."""
        # An alert opens and closes once, and is opened again at most once a day.
        day = f"-{self.alert.updated_at:%Y%m%d}" if self.what == "reopened" else ""
        return f"alert-{self.alert.pk}-{self.what}{day}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Posted:
    """What a round of sending did: taken, to be tried again, and given up."""

    delivered: int = 0
    failed: int = 0
    dead: int = 0


def new_secret() -> str:
    """A secret for a new target."""
    return secret_text(secrets.token_bytes(KEY_BYTES))


def tell(events: Sequence[Event], *, now: datetime) -> int:
    """Write what the active targets are to be told, in the caller's transaction. Two queries."""
    if not events:
        return 0
    targets = list(WebhookTarget.objects.filter(active=True))
    rows = [
        WebhookDelivery(
            target=target,
            event_id=event.id,
            event=f"alert.{event.what}",
            body=_body(event, now=now),
            next_attempt_at=now,
        )
        for event in events
        for target in targets
        if not target.kinds or event.alert.kind in target.kinds
    ]
    WebhookDelivery.objects.bulk_create(rows, ignore_conflicts=True)
    return len(rows)


def send_webhooks(*, now: datetime) -> Posted:
    """Send what is due, oldest first; safe to run in several workers at once.

    Outside of a transaction: a target that lets us wait must not hold up the shelf.
    """
    due = WebhookDelivery.objects.filter(_due(now), target__active=True).order_by("pk")
    outcomes = [_send(pk, now=now) for pk in due.values_list("pk", flat=True)[:MOST_A_ROUND]]
    return Posted(
        delivered=outcomes.count("delivered"),
        failed=outcomes.count("failed"),
        dead=outcomes.count("dead"),
    )


def resend(pk: int, *, now: datetime) -> WebhookDelivery:
    """Have a message that was given up, or that waits, tried again at once and from the start.

    Raises NotFound, or WebhookDelivered for one that was taken.
    """
    waiting = WebhookDelivery.objects.filter(pk=pk, delivered_at__isnull=True)
    again = waiting.update(attempts=0, next_attempt_at=now, claimed_until=None, dead_at=None)
    delivery = WebhookDelivery.objects.select_related("target").filter(pk=pk).first()
    if delivery is None:
        raise NotFound("There is no such message.")
    if not again:
        raise WebhookDelivered("It was taken; the other program has it.")
    return delivery


def claim(pk: int, *, now: datetime) -> bool:
    """Take a message to send it; False when another worker has it or it is done. One query."""
    claimed = WebhookDelivery.objects.filter(_due(now), pk=pk).update(
        claimed_until=now + CLAIM, attempts=F("attempts") + 1
    )
    return claimed == 1


def _due(now: datetime) -> Q:
    unclaimed = Q(claimed_until__isnull=True) | Q(claimed_until__lte=now)
    return unclaimed & Q(delivered_at__isnull=True, dead_at__isnull=True, next_attempt_at__lte=now)


def _send(pk: int, *, now: datetime) -> str:
    """ "delivered", "failed" or "dead"; "" when another worker has it."""
    if not claim(pk, now=now):
        return ""
    delivery = WebhookDelivery.objects.select_related("target").get(pk=pk)
    body = delivery.body.encode()
    timestamp = int(timezone.now().timestamp())
    answer = post(
        delivery.target.url,
        body=body,
        headers={
            "webhook-id": delivery.event_id,
            "webhook-timestamp": str(timestamp),
            "webhook-signature": signature(
                delivery.target.secret,
                event_id=delivery.event_id,
                timestamp=timestamp,
                body=body,
            ),
        },
    )
    outcome, changes = _outcome(answer, attempts=delivery.attempts, now=now)
    # Only while it is ours: somebody may have asked for it again meanwhile.
    ours = WebhookDelivery.objects.filter(pk=pk, claimed_until=now + CLAIM)
    ours.update(claimed_until=None, status=answer.status, trouble=answer.trouble, **changes)
    return outcome


def _outcome(answer: Answer, *, attempts: int, now: datetime) -> tuple[str, dict[str, Any]]:
    if answer.taken:
        return "delivered", {"delivered_at": now}
    wait = wait_after(attempts)
    if wait is None:
        return "dead", {"dead_at": now}
    return "failed", {"next_attempt_at": now + wait}


def _body(event: Event, *, now: datetime) -> str:
    alert = event.alert
    return json.dumps(
        {
            "type": f"alert.{event.what}",
            "timestamp": now.isoformat(),
            "data": {
                "alert": alert.pk,
                "kind": alert.kind,
                "subject": alert.subject,
                "name": alert.name,
                "reason": alert.reason,
                "figures": shown_figures(alert),
                "opened_at": alert.opened_at.isoformat(),
                "closed_at": alert.closed_at.isoformat() if alert.closed_at else None,
            },
        },
        ensure_ascii=False,
    )
