"""Alerts: what needs looking after is found, told once, followed while it lasts and closed after.

One round holds the turn of all rounds from its first read to its commit, so two workers never see
the same cause as news; the constraint of one open alert a cause stands behind that. Large studios
split a round into parts (`inventory.services.alerts.rounds`).
"""

from dataclasses import dataclass
from datetime import date, datetime

from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone

from inventory.errors import AlertClosed
from inventory.models.alerts.alerts import Alert, JobRun
from inventory.services.alerts.digests import write_digest
from inventory.services.alerts.registry import CAUSES, Look
from inventory.services.alerts.rows import Changed, reconcile
from studio.foundation.errors import InvalidInput, NotFound
from studio.work.digests import Digest
from studio.work.leases import take_turn

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
