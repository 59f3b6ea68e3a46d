"""Mails that are rows: written in the transaction of what they tell, sent after it is committed.

Sending is at least once. A mail is claimed for a while, sent, then marked as sent; a worker that
dies between sending and marking leaves a mail that another sends again when the claim runs out,
under the same Message-ID, by which most mailboxes show both as one. A mail that comes twice is the
price for one that never fails to come.
"""

import logging
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import models
from django.db.models import Q

from studio.work.leases import Leased, TakenOver, claim, trouble_of

if TYPE_CHECKING:
    from django.db.models import QuerySet

logger = logging.getLogger(__name__)

#: Longer than any mail server is waited for; after it another worker may send.
CLAIM = timedelta(minutes=15)
LONGEST_SUBJECT = 200


class Mail(Leased):
    """A mail to send; `claimed_until` is set while a worker sends it."""

    lease_column: ClassVar[str] = "claimed_until"

    subject = models.CharField(max_length=LONGEST_SUBJECT)
    body = models.TextField()
    created_at = models.DateTimeField(auto_now_add=True)
    claimed_until = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True
        ordering = ["id"]

    def __str__(self) -> str:
        return self.subject

    @classmethod
    def to_do(cls, now: datetime) -> Q:
        return Q(sent_at__isnull=True)


AMail = TypeVar("AMail", bound=Mail)


@dataclass(frozen=True, slots=True, kw_only=True)
class MailsSent:
    """What a round of sending did; what is `kept` has nobody to go to."""

    sent: int = 0
    failed: int = 0
    kept: int = 0


def waiting(mails: "QuerySet[AMail]", *, now: datetime) -> list[int]:
    """The ids of mails that are written, not sent, and claimed by nobody, the oldest first."""
    return list(mails.filter(mails.model.free(now)).order_by("pk").values_list("pk", flat=True))


def send_all(
    mails: "QuerySet[AMail]",
    message: Callable[[AMail], EmailMessage],
    *,
    now: datetime,
    due: Iterable[int] | None = None,
    marks: Mapping[str, Any] | None = None,
) -> MailsSent:
    """Send what waits (or those of `due`); safe to run in several workers at once.

    `message` makes the mail of a row; `marks` are columns to set with `sent_at`. One that fails
    keeps its trouble, does not hold up the others, and is tried again when its claim has run out.
    """
    wanted = waiting(mails, now=now) if due is None else due
    outcomes = [_send(mails, pk, message, now=now, marks=marks or {}) for pk in wanted]
    return MailsSent(sent=outcomes.count(True), failed=outcomes.count(False))


def note_trouble(
    mails: "QuerySet[AMail]", due: Iterable[int], trouble: str, *, now: datetime
) -> None:
    """Say on mails that nobody has claimed why they cannot go out yet. One query."""
    mails.filter(mails.model.free(now), pk__in=list(due)).update(trouble=trouble)


def message_id(kind: str, mail: Mail) -> str:
    """The Message-ID of a mail: the same however often it is sent."""
    domain = settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].rstrip("> ") or "localhost"
    return f"<{kind}-{mail.pk}-{int(mail.created_at.timestamp())}@{domain}>"


def one_line(text: str) -> str:
    """Without line breaks, which a mail's subject must not have, and within its column."""
    return " ".join(text.split())[:LONGEST_SUBJECT]


def _send(
    mails: "QuerySet[AMail]",
    pk: int,
    message: Callable[[AMail], EmailMessage],
    *,
    now: datetime,
    marks: Mapping[str, Any],
) -> bool | None:
    """True when sent, False when that failed, None when another has it."""
    mail = claim(mails, pk, now=now, lease=CLAIM)
    if mail is None:
        return None
    values: dict[str, Any] = {"sent_at": now, "claimed_until": None, "trouble": "", **marks}
    try:
        message(mail).send()
    except Exception as error:  # whatever a mail backend raises, the next mail must go out
        logger.exception("%s %s could not be sent", mails.model.__name__, pk)
        values = {"trouble": trouble_of(error)}
    try:
        mail.settle(**values)
    except TakenOver:
        logger.warning("%s %s took longer than its claim", mails.model.__name__, pk)
    return "sent_at" in values
