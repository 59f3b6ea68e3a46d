"""Digest mails: written with the alerts they tell of, sent after those are committed.

Sending is at least once. A digest is claimed for a while, sent, then marked as sent; a worker
that dies between sending and marking leaves a digest that another sends again when the claim
runs out. A mail that comes twice is the price for one that never fails to come; both carry the
same Message-ID, by which most mailboxes show them as one.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.mail import EmailMessage
from django.db.models import F, Q
from django.template.loader import render_to_string

from inventory.domain.packs import friendly_amount
from inventory.domain.projection import Assessment
from inventory.models import Digest, Offer
from inventory.queries import StockPosition, best_offers
from studio.money import format_money
from studio.roles import Role

logger = logging.getLogger(__name__)

TEMPLATE = "inventory/low_stock_digest.txt"
#: Longer than any mail server is waited for; after it another worker may send.
CLAIM = timedelta(minutes=15)
NOBODY = "There is nobody to send it to: set STUDIO_MAIL_TO or give an owner an e-mail address."


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What a round of sending did."""

    sent: int = 0
    failed: int = 0
    kept: int = 0


def write_digest(low: Sequence[tuple[StockPosition, Assessment]], *, on: date) -> Digest:
    """Write, but do not send, one mail about materials that newly run low. Two queries."""
    offers = best_offers([position.material_id for position, _ in low], on=on)
    items = [
        _words(position, assessment, offers.get(position.material_id))
        for position, assessment in low
    ]
    names = ", ".join(item["name"] for item in items[:3])
    more = f" and {len(items) - 3} more" if len(items) > 3 else ""
    subject = f"{settings.STUDIO_NAME}: {names}{more} {'runs' if len(items) == 1 else 'run'} low"
    body = render_to_string(
        TEMPLATE, {"items": items, "studio": settings.STUDIO_NAME, "on": on.isoformat()}
    )
    return Digest.objects.create(subject=_one_line(subject), body=body)


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
        headers={"Message-ID": f"<low-stock-{digest.pk}-{written}@{domain}>"},
    )


def _words(position: StockPosition, assessment: Assessment, offer: Offer | None) -> dict[str, str]:
    """One material's part of the mail, in words."""

    def amount(value: int) -> str:
        return friendly_amount(value, counted=position.counted)

    return {
        "name": _one_line(position.name),
        "code": position.code,
        "projected": amount(assessment.projected),
        "reorder_point": "none set"
        if position.reorder_point is None
        else amount(position.reorder_point),
        "reason": assessment.reason,
        "quarantine": amount(position.quarantine) if position.quarantine else "",
        "offer": _offer_words(offer) if offer else "",
    }


def _offer_words(offer: Offer) -> str:
    price = format_money(
        offer.price, currency=settings.STUDIO_CURRENCY, locale=settings.STUDIO_LOCALE
    )
    days = offer.days_to_come
    packs = f", at least {offer.minimum_packs} packs" if offer.minimum_packs > 1 else ""
    return (
        f"{offer.supplier.name}, {offer.pack_written} for {price}{packs}, "
        f"{days} {'day' if days == 1 else 'days'} to come"
    )


def _one_line(text: str) -> str:
    """Without line breaks, which a mail's subject must not have, and within its column."""
    return " ".join(text.split())[:200]
