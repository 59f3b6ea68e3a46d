"""What plans may count on: the shelf, what is being made, and what others have planned to use."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from django.db.models import Case, F, OuterRef, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce, Least

from inventory.domain.stock.lots import LotState
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
        expected_makes()
        .filter(material__in=wanted, coming__gt=0)
        .values_list("material", "due_on", "coming")
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
    rows = expected_makes()
    if materials is not None:
        wanted = materials if isinstance(materials, QuerySet) else list(materials)
        rows = rows.filter(material__in=wanted)
    sums = rows.values("material").annotate(total=Sum("coming")).order_by()
    return {row["material"]: int(row["total"]) for row in sums if row["total"]}


def expected_makes() -> "QuerySet[Any]":
    """What will be made, with `coming`: as much of it as may still come (`ExpectedMake`)."""
    there = Least(F("amount"), F("lot__on_hand"))
    return ExpectedMake.objects.annotate(
        coming=Case(
            When(lot__isnull=True, then=F("amount")),
            When(lot__state=LotState.BLOCKED.value, then=Value(0)),
            default=there,
        )
    )


def makes_by_day(makes: "QuerySet[Any]", *, on: date) -> list[tuple[int, date, int]]:
    """(material id, day, stock units) of expected makes that come, as seen on a day. One query."""
    rows = (
        makes.filter(coming__gt=0)
        .order_by()
        .values_list("material", "due_on", "days_to_make")
        .annotate(total=Sum("coming"))
    )
    return [
        (material, comes_on(due_on, days, on=on), int(total))
        for material, due_on, days, total in rows
    ]


def comes_on(due_on: date, days_to_make: int, *, on: date) -> date:
    """The day on which what is made comes, as seen on a day: what is not begun takes its time."""
    return max(due_on, on + timedelta(days=days_to_make)) if days_to_make else due_on


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
