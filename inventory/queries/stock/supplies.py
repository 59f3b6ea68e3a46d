"""What plans may count on: the shelf, what is being made, and what others have planned to use."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db.models import Case, F, OuterRef, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce

from inventory.domain.stock.promises import Dated, Supply
from inventory.models.buying.requirements import ExpectedMake, Requirement
from inventory.models.stock.reservations import ReservationLine, ReservationState
from inventory.queries.stock.on_hand import available_by_material


def supplies(materials: Iterable[int], *, on: date, without: str = "") -> dict[int, Supply]:
    """The supply of each material by id; `on` is the day on which lots must be usable.

    What the holder `without` requires is not counted as promised: it is the one that asks. Three
    queries for any number of materials.
    """
    wanted = list(materials)
    available = available_by_material(wanted, on=on)
    promised = _dated(
        open_requirements()
        .filter(material__in=wanted, open__gt=0)
        .exclude(holder=without)
        .values_list("material", "due_on", "open")
    )
    coming = _dated(
        ExpectedMake.objects.filter(material__in=wanted).values_list("material", "due_on", "amount")
    )
    return {
        pk: Supply(
            available=available.get(pk, 0),
            coming=tuple(coming.get(pk, ())),
            promised=tuple(promised.get(pk, ())),
        )
        for pk in wanted
    }


def being_made(
    materials: "Iterable[int] | QuerySet[Any] | None" = None,
) -> dict[int, int]:
    """What planned batches will make of each material (stock units), by id. One query."""
    rows = ExpectedMake.objects.all()
    if materials is not None:
        wanted = materials if isinstance(materials, QuerySet) else list(materials)
        rows = rows.filter(material__in=wanted)
    sums = rows.values("material").annotate(total=Sum("amount")).order_by()
    return {row["material"]: int(row["total"]) for row in sums}


def open_requirements() -> "QuerySet[Any]":
    """Requirements with `open`: what of them the holder's open reservation does not hold."""
    held = (
        ReservationLine.objects.filter(
            reservation__holder=OuterRef("holder"),
            reservation__state=ReservationState.OPEN,
            lot__material=OuterRef("material"),
        )
        .order_by()
        .values("lot__material")
        .annotate(total=Sum("remaining"))
        .values("total")
    )
    return Requirement.objects.annotate(held=Coalesce(Subquery(held), Value(0))).annotate(
        open=Case(When(amount__gt=F("held"), then=F("amount") - F("held")), default=Value(0))
    )


def _dated(rows: Iterable[tuple[int, date, int]]) -> dict[int, list[Dated]]:
    dated: dict[int, list[Dated]] = defaultdict(list)
    for material, day, amount in rows:
        dated[material].append((day, int(amount)))
    return dated
