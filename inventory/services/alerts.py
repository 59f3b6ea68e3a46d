"""Low stock: what runs low is found, told once, followed while it lasts and closed after.

One scan holds the turn of all scans from its first read to its commit, so two workers never see
the same material as news; the constraint of one open alert a material stands behind that.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from inventory.domain.projection import Assessment, assess
from inventory.models import Digest, JobRun, LowStockAlert, Material
from inventory.queries import StockPosition, stock_positions
from inventory.services.digests import write_digest
from inventory.services.turns import take_turn

LOW_STOCK_JOB = "inventory.low-stock"
_FOLLOWED = (
    "on_hand",
    "reserved",
    "planned",
    "on_order",
    "projected",
    "reorder_point",
    "reason",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """What one scan did: how many alerts it opened, brought up to date and closed."""

    opened: int
    updated: int
    closed: int
    digest: Digest | None


@transaction.atomic
def raise_low_stock_alerts(*, now: datetime) -> Scan:
    """Compare each active material that wants alerts with its reorder point.

    Opens an alert for what newly runs low, brings open ones up to date, closes those of materials
    that recovered (or want no alerts any more), and writes one digest of all that is new; all in
    one transaction, with the same number of queries however many materials there are.
    """
    take_turn(LOW_STOCK_JOB)
    positions = stock_positions(
        on=timezone.localtime(now).date(),
        materials=Material.objects.filter(active=True, low_stock_alerts=True),
    )
    low = {
        pk: assessment
        for pk, position in positions.items()
        if (assessment := assess(position.snapshot, position.reorder_point)).low
    }
    still_open = {
        alert.material_id: alert
        for alert in LowStockAlert.objects.filter(closed_at__isnull=True).order_by("pk")
    }
    closed = _close([a for pk, a in still_open.items() if pk not in low], now=now)
    updated = _update(
        [(alert, low[pk]) for pk, alert in still_open.items() if pk in low], positions, now=now
    )
    new = [assessment for pk, assessment in low.items() if pk not in still_open]
    digest = _open(new, positions, now=now)
    JobRun.objects.bulk_create(
        [JobRun(name=LOW_STOCK_JOB, last_run_at=now)],
        update_conflicts=True,
        unique_fields=["name"],
        update_fields=["last_run_at"],
    )
    return Scan(opened=len(new), updated=updated, closed=closed, digest=digest)


def _close(alerts: Iterable[LowStockAlert], *, now: datetime) -> int:
    """Close alerts. One query."""
    ids = [alert.pk for alert in alerts]
    return LowStockAlert.objects.filter(pk__in=ids).update(closed_at=now) if ids else 0


def _update(
    pairs: Iterable[tuple[LowStockAlert, Assessment]],
    positions: Mapping[int, StockPosition],
    *,
    now: datetime,
) -> int:
    """Bring the alerts whose numbers changed up to date. One query."""
    changed = []
    for alert, assessment in pairs:
        numbers = _numbers(assessment, positions)
        if any(getattr(alert, name) != value for name, value in numbers.items()):
            for name, value in numbers.items():
                setattr(alert, name, value)
            alert.updated_at = now
            changed.append(alert)
    if changed:
        LowStockAlert.objects.bulk_update(changed, [*_FOLLOWED, "updated_at"])
    return len(changed)


def _open(
    assessments: list[Assessment], positions: Mapping[int, StockPosition], *, now: datetime
) -> Digest | None:
    """Open alerts and write the digest that tells of them. Three queries."""
    if not assessments:
        return None
    digest = write_digest(
        [(positions[each.snapshot.material], each) for each in assessments],
        on=timezone.localtime(now).date(),
    )
    LowStockAlert.objects.bulk_create(
        LowStockAlert(
            material_id=each.snapshot.material,
            opened_at=now,
            updated_at=now,
            digest=digest,
            **_numbers(each, positions),
        )
        for each in assessments
    )
    return digest


def _numbers(
    assessment: Assessment, positions: Mapping[int, StockPosition]
) -> dict[str, int | str]:
    """The columns of an alert that follow the stock; their names are `_FOLLOWED`."""
    position = positions[assessment.snapshot.material]
    return {
        "on_hand": position.on_hand,
        "reserved": position.reserved,
        "planned": position.planned,
        "on_order": position.on_order,
        "projected": assessment.projected,
        "reorder_point": assessment.reorder_point,
        "reason": assessment.reason,
    }
