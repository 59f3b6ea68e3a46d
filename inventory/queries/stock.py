"""What stands on the shelf: what may be picked, and what is to be expected of each material."""

from collections.abc import Iterable
from datetime import date

from django.db.models import F, Q, Sum

from inventory.domain.lots import LotStatus
from inventory.models import Lot


def usable(on: date) -> Q:
    """Condition for lots that may be picked on a day: released and not past their best before."""
    return Q(status=LotStatus.RELEASED.value) & (
        Q(best_before__isnull=True) | Q(best_before__gte=on)
    )


def available_by_material(materials: Iterable[int], *, on: date) -> dict[int, int]:
    """What may still be reserved of each material (stock units), by material id. One query."""
    rows = (
        Lot.objects.filter(usable(on), material__in=list(materials))
        .values("material")
        .annotate(available=Sum(F("on_hand") - F("reserved")))
        .order_by("material")
    )
    return {row["material"]: int(row["available"]) for row in rows}
