"""What needs looking after now, whether anybody was told, and alerts as lists show them."""

from collections.abc import Sequence
from datetime import date, datetime

from django.db.models import Q, QuerySet

from inventory.models.alerts.alerts import Alert, JobRun


def open_alerts(*, kind: str = "", on: date | None = None) -> list[Alert]:
    """The open alerts with material and digest, oldest first; of one kind if it is named.

    With `on`, those that are snoozed on that day are left out. One query.
    """
    rows = Alert.objects.filter(closed_at__isnull=True)
    if kind:
        rows = rows.filter(kind=kind)
    if on is not None:
        rows = rows.filter(Q(snoozed_until__isnull=True) | Q(snoozed_until__lte=on))
    return list(rows.select_related("material", "digest").order_by("opened_at", "subject"))


def last_run(name: str) -> datetime | None:
    """When a scheduled job last did its work; None when it never did. One query."""
    return JobRun.objects.filter(name=name).values_list("last_run_at", flat=True).first()


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
