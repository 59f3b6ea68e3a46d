"""What stands on the shelf: what may be picked, and what is to be expected of each material."""

from collections.abc import Collection, Iterable
from datetime import date

from django.db.models import F, Q, Sum

from inventory.domain.stock.lots import LotState, MovingAverage
from inventory.models.stock.lots import Lot


def fresh(on: date) -> Q:
    """Condition for lots that have not passed their best before on a day (`is_expired`)."""
    return Q(best_before__isnull=True) | Q(best_before__gte=on)


def usable(on: date) -> Q:
    """Condition for lots that may be picked on a day: released, there, and fresh (`is_good`)."""
    return Q(state=LotState.RELEASED.value, received_on__lte=on) & fresh(on)


def available_by_material(materials: Iterable[int], *, on: date) -> dict[int, int]:
    """What may still be reserved of each material (stock units), by material id. One query."""
    rows = (
        Lot.objects.filter(usable(on), material__in=list(materials))
        .values("material")
        .annotate(available=Sum(F("on_hand") - F("reserved")))
        .order_by("material")
    )
    return {row["material"]: int(row["available"]) for row in rows}


def held_on_average(materials: Iterable[int], *, on: date) -> dict[int, MovingAverage]:
    """What is held of each material in lots that may be used on a day, and what it cost, by id.

    Reserved stock is in it: it is held all the same. Materials without stock are not in the answer.
    One query.
    """
    rows = (
        Lot.objects.filter(usable(on), material__in=list(materials), on_hand__gt=0)
        .values("material")
        .annotate(sum_on_hand=Sum("on_hand"), sum_cost=Sum("cost"))
        .order_by("material")
    )
    return {
        row["material"]: MovingAverage(quantity=int(row["sum_on_hand"]), cost=int(row["sum_cost"]))
        for row in rows
    }


def materials_held_in(lots: Collection[int]) -> frozenset[int]:
    """The materials, by id, of which some of these lots is held. One query, none without lots."""
    if not lots:
        return frozenset()
    held = Lot.objects.filter(pk__in=lots, on_hand__gt=0).order_by()
    return frozenset(held.values_list("material", flat=True))
