"""Digests: mails to the owners of the studio, or to whom its settings name."""

from datetime import datetime

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.mail import EmailMessage
from django.db import models
from django.db.models import Q

from studio.foundation.roles import Role
from studio.work import mails
from studio.work.mails import Mail, MailsSent

TASK = "studio.tasks.send_digests"
NOBODY = "There is nobody to send it to: set STUDIO_MAIL_TO or give an owner an e-mail address."


class Digest(Mail):
    """One mail to send: written with what it tells of, sent after that is committed."""

    recipients = models.JSONField(default=list)


def send_digests(*, now: datetime) -> MailsSent:
    """Send what was written and not yet sent; safe to run in several workers at once.

    One digest that fails doesn't hold up the others: it is tried again when its claim has run
    out. With nobody to send to, a digest is kept, says so, and goes out once there is somebody.
    """
    waiting = mails.waiting(Digest.objects.all(), now=now)
    if not waiting:
        return MailsSent()
    recipients = recipients_now()
    if not recipients:
        mails.note_trouble(Digest.objects.all(), waiting, NOBODY, now=now)
        return MailsSent(kept=len(waiting))
    return mails.send_all(
        Digest.objects.all(),
        lambda digest: _message(digest, recipients),
        now=now,
        due=waiting,
        marks={"recipients": recipients},
    )


def recipients_now() -> list[str]:
    """Whom a digest goes to: STUDIO_MAIL_TO, else every owner who has an e-mail address."""
    if settings.STUDIO_MAIL_TO:
        return list(settings.STUDIO_MAIL_TO)
    owners = get_user_model().objects.filter(
        Q(membership__role=Role.OWNER) | Q(is_superuser=True, membership__isnull=True),
        is_active=True,
    )
    return list(owners.exclude(email="").order_by("pk").values_list("email", flat=True))


def _message(digest: Digest, recipients: list[str]) -> EmailMessage:
    return EmailMessage(
        subject=digest.subject,
        body=digest.body,
        to=recipients,
        headers={"Message-ID": mails.message_id("digest", digest)},
    )
