"""Alerts as lists show them: open, snoozed, closed."""

from collections.abc import Sequence
from datetime import date

from django.db.models import Q, QuerySet

from inventory.models.alerts.alerts import Alert

STATES = ("open", "snoozed", "closed", "all")


def alerts_found(
    *, on: date, state: str = "open", kind: str = "", without: Sequence[str] = ()
) -> "QuerySet[Alert]":
    """Alerts in a state on a day, with what a list shows; `without` names kinds to leave out."""
    asleep = Q(closed_at=None, snoozed_until__gt=on)
    chosen = {
        "open": Q(closed_at=None) & ~asleep,
        "snoozed": asleep,
        "closed": Q(closed_at__isnull=False),
        "all": Q(),
    }[state]
    related = ("material", "acknowledged_by", "snoozed_by")
    found = Alert.objects.select_related(*related).filter(chosen)
    if kind:
        found = found.filter(kind=kind)
    return found.exclude(kind__in=list(without)) if without else found
