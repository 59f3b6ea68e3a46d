"""Alerts from findings: opened when a cause appears, followed while it holds, closed after."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime

from inventory.domain.alerts.causes import Finding
from inventory.models.alerts.alerts import Alert
from inventory.services.alerts.registry import Cause, Look, shown_figures
from studio.work.webhooks.sending import Event, tell

_FOLLOWED = ("name", "reason", "figures", "material_id")


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """How many alerts were opened, opened again after a snooze, brought up to date and closed."""

    opened: int = 0
    reopened: int = 0
    updated: int = 0
    closed: int = 0

    def __add__(self, other: "Changed") -> "Changed":
        return Changed(
            **{
                each.name: getattr(self, each.name) + getattr(other, each.name)
                for each in fields(self)
            }
        )


def reconcile(cause: Cause, findings: Iterable[Finding], look: Look, *, now: datetime) -> Changed:
    """Bring the open alerts of one kind in line with what was found, and tell other programs.

    Call it inside a transaction that holds the turn of what it looks at. One query, and up to
    five more that write; the same number however many alerts there are.
    """
    held = {finding.subject: finding for finding in findings}
    rows = Alert.objects.filter(look.covers("material"), kind=cause.kind, closed_at__isnull=True)
    still_open = {alert.subject: alert for alert in rows.order_by("pk")}
    gone = [alert for subject, alert in still_open.items() if subject not in held]
    kept = [(alert, held[subject]) for subject, alert in still_open.items() if subject in held]
    new = [finding for subject, finding in held.items() if subject not in still_open]
    _close(gone, now=now)
    updated, reopened = _follow(kept, on=look.on, now=now)
    opened = _open(cause, new, now=now)
    tell(
        [
            *(_event("opened", alert) for alert in opened),
            *(_event("reopened", alert) for alert in reopened),
            *(_event("closed", alert) for alert in gone),
        ],
        now=now,
    )
    return Changed(opened=len(opened), reopened=len(reopened), updated=updated, closed=len(gone))


def _close(alerts: Sequence[Alert], *, now: datetime) -> None:
    """Close alerts. One query."""
    for alert in alerts:
        alert.closed_at = now
    if alerts:
        Alert.objects.filter(pk__in=[alert.pk for alert in alerts]).update(closed_at=now)


def _follow(
    pairs: Iterable[tuple[Alert, Finding]], *, on: date, now: datetime
) -> tuple[int, list[Alert]]:
    """Bring alerts whose figures changed up to date, and open anew those whose snooze is over.

    Returns how many only changed, and which were opened anew: nobody has seen those, and nobody
    was told. One query.
    """
    changed, reopened = [], []
    for alert, finding in pairs:
        before = (_values(alert), alert.snoozed_until)
        _set(alert, finding)
        if alert.snoozed_until is not None and alert.snoozed_until <= on:
            alert.snoozed_until = alert.snoozed_by = alert.digest = None
            alert.acknowledged_at = alert.acknowledged_by = None
            reopened.append(alert)
        if before != (_values(alert), alert.snoozed_until):
            alert.updated_at = now
            changed.append(alert)
    if changed:
        columns = [name.removesuffix("_id") for name in _FOLLOWED]
        seen = ["snoozed_until", "digest", "acknowledged_at", "acknowledged_by", "snoozed_by"]
        Alert.objects.bulk_update(changed, [*columns, *(seen if reopened else []), "updated_at"])
    return len(changed) - len(reopened), reopened


def _open(cause: Cause, findings: Iterable[Finding], *, now: datetime) -> list[Alert]:
    """Open alerts. One query."""
    new = []
    for finding in findings:
        alert = Alert(kind=cause.kind, subject=finding.subject, opened_at=now, updated_at=now)
        _set(alert, finding)
        new.append(alert)
    return Alert.objects.bulk_create(new) if new else []


def _values(alert: Alert) -> tuple[object, ...]:
    return tuple(getattr(alert, name) for name in _FOLLOWED)


def _set(alert: Alert, finding: Finding) -> None:
    alert.name = finding.name[:200]
    alert.reason = finding.reason[:400]
    alert.figures = dict(finding.figures)
    alert.material_id = finding.material


def _event(what: str, alert: Alert) -> Event:
    """What other programs are told of an alert that was opened, reopened or closed."""
    # An alert opens and closes once, and is opened again at most once a day.
    day = f"-{alert.updated_at:%Y%m%d}" if what == "reopened" else ""
    return Event(
        id=f"alert-{alert.pk}-{what}{day}",
        kind=alert.kind,
        what=f"alert.{what}",
        data={
            "alert": alert.pk,
            "kind": alert.kind,
            "subject": alert.subject,
            "name": alert.name,
            "reason": alert.reason,
            "figures": shown_figures(alert),
            "opened_at": alert.opened_at.isoformat(),
            "closed_at": alert.closed_at.isoformat() if alert.closed_at else None,
        },
    )
