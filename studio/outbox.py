"""Mails that are rows: written in the transaction of what they tell, sent after it is committed.

Sending is at least once. A mail is claimed for a while, sent, then marked as sent; a worker that
dies between sending and marking leaves a mail that another sends again when the claim runs out,
under the same Message-ID, by which most mailboxes show both as one. A mail that comes twice is the
price for one that never fails to come.

A model of mails has the columns `sent_at`, `claimed_until`, `attempts`, `trouble`, `created_at`.
"""

import logging
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, TypeVar

from celery import current_app
from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import F, Model, Q

if TYPE_CHECKING:
    from django.db.models import QuerySet

logger = logging.getLogger(__name__)

Mail = TypeVar("Mail", bound=Model)
#: Longer than any mail server is waited for; after it another worker may send.
CLAIM = timedelta(minutes=15)
LONGEST_SUBJECT = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class MailsSent:
    """What a round of sending did."""

    sent: int = 0
    failed: int = 0


def waiting(mails: "QuerySet[Mail]", *, now: datetime) -> list[int]:
    """The ids of mails that are written, not sent, and claimed by nobody, the oldest first."""
    return list(mails.filter(_unclaimed(now)).order_by("pk").values_list("pk", flat=True))


def send_all(
    mails: "QuerySet[Mail]",
    message: Callable[[Mail], EmailMessage],
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


def claim(mails: "QuerySet[Mail]", pk: int, *, now: datetime) -> bool:
    """Take a mail to send it; False when another worker has it or it was sent. One query."""
    claimed = mails.filter(_unclaimed(now), pk=pk).update(
        claimed_until=now + CLAIM, attempts=F("attempts") + 1
    )
    return claimed == 1


def note_trouble(
    mails: "QuerySet[Mail]", due: Iterable[int], trouble: str, *, now: datetime
) -> None:
    """Say on mails that nobody has claimed why they cannot go out yet. One query."""
    mails.filter(_unclaimed(now), pk__in=list(due)).update(trouble=trouble)


def message_id(kind: str, pk: int, *, written: datetime) -> str:
    """The Message-ID of a mail: the same however often it is sent."""
    domain = settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].rstrip("> ") or "localhost"
    return f"<{kind}-{pk}-{int(written.timestamp())}@{domain}>"


def one_line(text: str) -> str:
    """Without line breaks, which a mail's subject must not have, and within its column."""
    return " ".join(text.split())[:LONGEST_SUBJECT]


def wake(task: str) -> None:
    """Tell a worker that mail waits; when none can be told, the next round finds it."""
    try:
        current_app.send_task(task)
    except Exception:  # a broker that is away must not undo what is kept
        logger.exception("No worker could be told of mail that waits")


def _unclaimed(now: datetime) -> Q:
    return Q(sent_at__isnull=True) & (Q(claimed_until__isnull=True) | Q(claimed_until__lte=now))


def _send(
    mails: "QuerySet[Mail]",
    pk: int,
    message: Callable[[Mail], EmailMessage],
    *,
    now: datetime,
    marks: Mapping[str, Any],
) -> bool | None:
    """True when sent, False when that failed, None when another has it."""
    if not claim(mails, pk, now=now):
        return None
    mail = mails.get(pk=pk)
    try:
        message(mail).send()
    except Exception as error:  # whatever a mail backend raises, the next mail must go out
        logger.exception("%s %s could not be sent", mails.model.__name__, pk)
        mails.filter(pk=pk).update(trouble=f"{type(error).__name__}: {error}"[:200])
        return False
    mails.filter(pk=pk).update(sent_at=now, claimed_until=None, trouble="", **marks)
    return True
