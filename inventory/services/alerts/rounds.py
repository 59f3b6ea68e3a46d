"""A round of alerts in parts, for studios with very many materials: several workers share it.

Causes that are found by material are looked for in runs of materials, the others each in a part
of its own. The part that ends last writes the one digest.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from functools import reduce
from operator import add
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone

from inventory.domain.alerts.causes import Finding
from inventory.models.catalog.materials import Material
from inventory.services.alerts.alerts import (
    ALERTS_JOB,
    Changed,
    Round,
    end_of_round,
    raise_alerts,
    reconcile,
)
from inventory.services.alerts.registry import CAUSES, Cause, Look
from studio.work.jobs import WORKS, Arguments, Job, Work, start, unfinished
from studio.work.leases import take_turn


def look_round(*, now: datetime) -> Round | None:
    """Raise alerts: at once, or in parts when there are more materials than fit in one.

    None when it was split (the digest follows with the last part), or when the parts of an
    earlier round are still being done.
    """
    if Material.objects.filter(active=True).count() <= settings.STUDIO_ALERT_PART:
        return raise_alerts(now=now)
    start_round(now=now, by=None)
    return None


@transaction.atomic
def start_round(*, now: datetime, by: User | None, part_size: int | None = None) -> Job | None:
    """Split a round into parts for the workers; None while an earlier one is being done.

    `part_size` is the number of materials in a part (else STUDIO_ALERT_PART).
    """
    take_turn(f"{ALERTS_JOB}.start")
    if unfinished(ALERTS_JOB):
        return None
    size = part_size or settings.STUDIO_ALERT_PART
    ids = Material.objects.order_by("pk").values_list("pk", flat=True)
    bounds = list(ids)[size::size]
    arguments = {"on": timezone.localdate(now).isoformat()}
    parts = [
        {**arguments, "kind": cause.kind, "first": first, "before": before}
        for cause in CAUSES
        for first, before in (_runs(bounds) if cause.by_material else [(0, None)])
    ]
    return start(name=ALERTS_JOB, arguments=arguments, parts=parts, by=by, now=now)


def _runs(bounds: Sequence[int]) -> list[tuple[int, int | None]]:
    """Half-open runs of ids that together cover all there are."""
    return list(zip([0, *bounds], [*bounds, None], strict=True))


def _find(arguments: Arguments) -> list[Finding]:
    return _cause(arguments).find(_look(arguments))


def _write(arguments: Arguments, findings: list[Finding], now: datetime) -> dict[str, Any]:
    """Bring the alerts of one part in line; parts beside each other, whole rounds never."""
    take_turn(ALERTS_JOB, shared=True)
    return asdict(reconcile(_cause(arguments), findings, _look(arguments), now=now))


def _finish(job: Job, now: datetime) -> dict[str, Any]:
    outcomes = job.parts.exclude(outcome={}).values_list("outcome", flat=True)
    made = end_of_round(reduce(add, (Changed(**each) for each in outcomes), Changed()), now=now)
    return {
        "opened": made.opened,
        "updated": made.updated,
        "closed": made.closed,
        "digest": made.digest.pk if made.digest else None,
    }


def _cause(arguments: Mapping[str, Any]) -> Cause:
    cause = CAUSES.get(arguments["kind"])
    if cause is None:
        raise LookupError(f"No cause {arguments['kind']} is known to this worker.")
    return cause


def _look(arguments: Mapping[str, Any]) -> Look:
    return Look(
        on=date.fromisoformat(arguments["on"]),
        first=arguments["first"],
        before=arguments["before"],
    )


WORKS.register(
    Work(name=ALERTS_JOB, prepare=_find, write=_write, finish=_finish, shows_costs=False)
)
