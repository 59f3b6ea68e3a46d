"""Telling other programs: written with what happened, sent after it is committed.

Sending is at least once: what was sent but not marked, because the worker died, is sent again
with the same event id. A target that fails is tried again at waits that grow, then left as dead
until somebody asks for it again.
"""

import http.client
import json
import logging
import secrets
import socket
import ssl
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit
from urllib.request import (
    HTTPDefaultErrorHandler,
    HTTPErrorProcessor,
    HTTPHandler,
    HTTPSHandler,
    OpenerDirector,
    Request,
)

from django.utils import timezone

from studio.foundation.errors import NotFound, Refusal
from studio.models import WebhookDelivery, WebhookTarget
from studio.work.leases import TakenOver, claim
from studio.work.webhooks.signing import (
    KEY_BYTES,
    WebhookDelivered,
    check_address,
    check_url,
    secret_text,
    signature,
    wait_after,
)

#: Seconds for each step of a connection; a program takes a message at once and works on it later.
PATIENCE = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What came back: the status, if any, and what went wrong in words."""

    status: int | None = None
    trouble: str = ""

    @property
    def taken(self) -> bool:
        """Whether the other program took the message: any 2xx, as the specification has it."""
        return self.status is not None and 200 <= self.status < 300


class _AsItCame(HTTPErrorProcessor):
    """Hands every answer back as it came: a redirect is no reason to send elsewhere."""

    def http_response(self, request: Request, response: Any) -> Any:
        return response

    https_response = http_response


def _opener() -> OpenerDirector:
    # Not build_opener: that one reads files and FTP, follows redirects and obeys proxies too.
    opener = OpenerDirector()
    for handler in (HTTPHandler(), HTTPSHandler(), HTTPDefaultErrorHandler(), _AsItCame()):
        opener.add_handler(handler)
    return opener


def post(url: str, *, body: bytes, headers: Mapping[str, str]) -> Answer:
    """Send JSON to an address. Never raises for what the network or the other side does."""
    try:
        check_url(url)
        _check_host(url)
        request = Request(
            url,
            data=body,
            method="POST",
            headers={**headers, "content-type": "application/json", "user-agent": "soap-studio"},
        )
        with _opener().open(request, timeout=PATIENCE) as response:
            status = int(response.status)
    except (OSError, http.client.HTTPException, ssl.SSLError, ValueError, Refusal) as error:
        return Answer(trouble=f"{type(error).__name__}: {error}"[:200])
    if 200 <= status < 300:
        return Answer(status=status)
    return Answer(status=status, trouble=f"The other program answered {status}.")


def _check_host(url: str) -> None:
    """Raise WebhookRefusal if the name leads to an address that messages are not sent to."""
    parts = urlsplit(url)
    port = parts.port or {"http": 80, "https": 443}[parts.scheme]
    for *_, address in socket.getaddrinfo(parts.hostname, port, type=socket.SOCK_STREAM):
        check_address(str(address[0]))


logger = logging.getLogger(__name__)

TASK = "studio.tasks.send_webhooks"
#: Longer than one message takes; after it another worker may send it.
CLAIM = timedelta(minutes=2)
#: So many in a round keep it within a task's time even when every target lets us wait.
MOST_A_ROUND = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened, of a kind that targets choose by ("low-stock").

    `id` is the same for the same happening, however often it is written or sent. `what` is the
    type of the message ("alert.opened"), `data` what it says.
    """

    id: str
    kind: str
    what: str
    data: Mapping[str, Any]


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
            event=event.what,
            body=_body(event, now=now),
            next_attempt_at=now,
        )
        for event in events
        for target in targets
        if not target.kinds or event.kind in target.kinds
    ]
    WebhookDelivery.objects.bulk_create(rows, ignore_conflicts=True)
    return len(rows)


def send_webhooks(*, now: datetime) -> Posted:
    """Send what is due, oldest first; safe to run in several workers at once.

    Outside of a transaction: a target that lets us wait must not hold up the shelf.
    """
    free = WebhookDelivery.objects.filter(WebhookDelivery.free(now), target__active=True)
    due = free.order_by("pk").values_list("pk", flat=True)[:MOST_A_ROUND]
    outcomes = [_send(pk, now=now) for pk in due]
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


def _send(pk: int, *, now: datetime) -> str:
    """ "delivered", "failed" or "dead"; "" when another worker has it."""
    rows = WebhookDelivery.objects.select_related("target")
    delivery = claim(rows, pk, now=now, lease=CLAIM)
    if delivery is None:
        return ""
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
    try:
        told = {"status": answer.status, "trouble": answer.trouble}
        delivery.settle(claimed_until=None, **told, **changes)
    except TakenOver:
        logger.warning("Message %s was asked for again while it was sent", pk)
    return outcome


def _outcome(answer: Answer, *, attempts: int, now: datetime) -> tuple[str, dict[str, Any]]:
    if answer.taken:
        return "delivered", {"delivered_at": now}
    wait = wait_after(attempts)
    if wait is None:
        return "dead", {"dead_at": now}
    return "failed", {"next_attempt_at": now + wait}


def _body(event: Event, *, now: datetime) -> str:
    said = {"type": event.what, "timestamp": now.isoformat(), "data": event.data}
    return json.dumps(said, ensure_ascii=False)
