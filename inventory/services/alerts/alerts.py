"""Alerts: what needs looking after is found, told once, followed while it lasts and closed after.

One round holds the turn of all rounds from its first read to its commit, so two workers never see
the same cause as news; the constraint of one open alert a cause stands behind that. Large studios
split a round into parts (`inventory.services.alerts.rounds`).
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.db import transaction
from django.template.loader import render_to_string
from django.utils import timezone

from inventory.domain.alerts.causes import Finding
from inventory.errors import AlertClosed
from inventory.models.alerts.alerts import Alert, JobRun
from inventory.services.alerts.registry import CAUSES, Cause, Look, shown_figures
from studio.foundation.errors import InvalidInput, NotFound
from studio.work.digests import Digest
from studio.work.leases import take_turn
from studio.work.mails import one_line
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


ALERTS_JOB = "inventory.alerts"


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """What one round did: how many alerts it opened, brought up to date and closed.

    Those whose snooze is over count as opened.
    """

    opened: int
    updated: int
    closed: int
    digest: Digest | None


@transaction.atomic
def raise_alerts(*, now: datetime) -> Round:
    """Look for every cause, and bring the alerts in line with what was found.

    Opens an alert for each new cause, brings open ones up to date, closes those whose cause is
    gone, and writes one digest of all that is new; all in one transaction, with the same number of
    queries however many materials and alerts there are.
    """
    take_turn(ALERTS_JOB)
    look = Look(on=timezone.localdate(now))
    changed = Changed()
    for cause in CAUSES:
        changed += reconcile(cause, cause.find(look), look, now=now)
    return end_of_round(changed, now=now)


@transaction.atomic
def look_for(kind: str, *, asked: datetime, now: datetime) -> Round | None:
    """Look for one kind of cause at once, as when something just changed that it rests on.

    None when it was looked for since `asked`: of many that ask, the first one answers for all, and
    a message that comes twice does nothing. Takes the turn of all rounds; a digest is written only
    for what this opened. Raises NotFound for an unknown kind.
    """
    cause = CAUSES.get(kind)
    if cause is None:
        raise NotFound(f"There is no kind of alert {kind}.", field="kind")
    take_turn(ALERTS_JOB)
    name = job_of(kind)
    if JobRun.objects.filter(name=name, last_run_at__gt=asked).exists():
        return None
    look = Look(on=timezone.localdate(now))
    changed = reconcile(cause, cause.find(look), look, now=now)
    new = changed.opened + changed.reopened
    digest = write_digest(now=now) if new else None
    _keep_run(name, now=now)
    return Round(opened=new, updated=changed.updated, closed=changed.closed, digest=digest)


def job_of(kind: str) -> str:
    """The name under which it is kept when one kind of cause was looked for last."""
    return f"{ALERTS_JOB}.{kind}"


def end_of_round(changed: Changed, *, now: datetime) -> Round:
    """Write the digest of what is new, and that a round was made. In the caller's transaction."""
    digest = write_digest(now=now)
    _keep_run(ALERTS_JOB, now=now)
    return Round(
        opened=changed.opened + changed.reopened,
        updated=changed.updated,
        closed=changed.closed,
        digest=digest,
    )


def _keep_run(name: str, *, now: datetime) -> None:
    JobRun.objects.bulk_create(
        [JobRun(name=name, last_run_at=now)],
        update_conflicts=True,
        unique_fields=["name"],
        update_fields=["last_run_at"],
    )


@transaction.atomic
def acknowledge(pk: int, *, by: User | None, now: datetime) -> Alert:
    """Keep who has seen an open alert first. Raises NotFound, AlertClosed."""
    alert = _open_alert(pk)
    if alert.acknowledged_at is None:
        alert.acknowledged_at = now
        alert.acknowledged_by_id = by.pk if by else None
        alert.save(update_fields=["acknowledged_at", "acknowledged_by"])
    return alert


@transaction.atomic
def snooze(pk: int, *, until: date, by: User | None, now: datetime) -> Alert:
    """Keep an open alert quiet until a day, on which it is told anew if its cause still holds.

    It closes as usual when the cause is gone before. Snoozing acknowledges. Raises NotFound,
    AlertClosed, or InvalidInput for a day that is not to come.
    """
    if until <= timezone.localdate(now):
        raise InvalidInput("Name a day that is still to come.", field="until")
    alert = acknowledge(pk, by=by, now=now)
    alert.snoozed_until, alert.snoozed_by = until, by
    alert.save(update_fields=["snoozed_until", "snoozed_by"])
    return alert


def _open_alert(pk: int) -> Alert:
    """The alert, locked. One query."""
    alert = (
        Alert.objects.select_for_update(of=("self",))
        .select_related("material", "acknowledged_by", "snoozed_by")
        .filter(pk=pk)
        .first()
    )
    if alert is None:
        raise NotFound("There is no such alert.")
    if alert.closed_at is not None:
        raise AlertClosed("Its cause is gone.")
    return alert
