"""Digest mails of alerts, written with them; `studio.work.digests` sends what is committed."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.db import transaction
from django.template.loader import render_to_string
from django.utils import timezone

from inventory.models.alerts.alerts import Alert
from inventory.services.alerts.registry import CAUSES, Cause
from studio.work.digests import Digest
from studio.work.leases import take_turn
from studio.work.mails import one_line

TEMPLATE = "inventory/alerts/digest.txt"
#: Of one kind; a mail of thousands is read by nobody.
MOST_TOLD = 100


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
