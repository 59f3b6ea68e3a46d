"""What is known of the days to come, as flows of stock: lots, orders, plans, reservations."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from django.db.models import F, QuerySet, Sum

from inventory.domain.buying.demand import counted
from inventory.domain.buying.forecasting import Whole
from inventory.domain.buying.stock_projection import NEVER, Flow, Supply
from inventory.models.buying.orders import PurchaseOrder, PurchaseOrderLine
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.queries.stock.on_hand import usable
from inventory.queries.stock.supplies import expected_makes, makes_by_day, open_requirements

Row = tuple[int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Flows by material (its row) and day from today (negative: overdue).

    `reserved` is all that is held, on the day its holder needs it; what nobody dated is needed
    today. `planned` is required beyond what its holders hold. `late` is overdue on order, by row.
    """

    on_hand: Supply
    arriving: Supply
    on_order: Flow
    being_made: Flow
    reserved: Flow
    planned: Flow
    late: Whole


def known_of(
    *,
    on: date,
    ids: Sequence[int],
    materials: "QuerySet[Material] | None",
    keeps: Sequence[int | None],
    time_to_use: Sequence[int],
) -> Known:
    """What is known of the materials `ids` from `on`. Four queries for any number.

    `materials` is the same choice as a queryset, None for all. `keeps` is for how many days what
    comes may be used, `time_to_use` how long before its best before a lot must be used, by row.
    """
    rows = {pk: row for row, pk in enumerate(ids)}
    only: dict[str, Any] = {} if materials is None else {"material__in": materials.values("pk")}
    lots, held, last_days = _shelf(rows, only, on=on, time_to_use=time_to_use)
    ordered = _ordered(rows, only, on=on)
    made = _made(rows, only, on=on)
    reserved, planned = _needed(rows, only, held, on=on)
    coming = [*ordered, *made]
    late = np.zeros(len(rows), dtype=np.int64)
    for row, day, amount in ordered:
        if day < 0:
            late[row] += amount
    ends = [NEVER if (k := keeps[row]) is None else max(day, 0) + k for row, day, _ in coming]
    return Known(
        on_hand=Supply(flow_of(lots), np.array(last_days, dtype=np.int64)),
        arriving=Supply(flow_of(coming), np.array(ends, dtype=np.int64)),
        on_order=flow_of(ordered),
        being_made=flow_of(made),
        reserved=flow_of(reserved),
        planned=flow_of(planned),
        late=late,
    )


def flow_of(rows: Sequence[Row]) -> Flow:
    """(row, day, amount) triples, side by side. Raises InvalidInput for one too large."""
    row, day, amount = zip(*rows, strict=True) if rows else ((), (), ())
    return Flow(np.array(row, dtype=np.int64), np.array(day, dtype=np.int64), counted(list(amount)))


def _shelf(
    rows: Mapping[int, int], only: Mapping[str, Any], *, on: date, time_to_use: Sequence[int]
) -> tuple[list[Row], dict[int, int], list[int]]:
    """Usable stock, what is held of all lots by row, and the last day of each. One query."""
    sums = (
        Lot.objects.filter(on_hand__gt=0, **only)
        .order_by()
        .values_list("material", "best_before")
        .annotate(
            usable=Sum("on_hand", filter=usable(on), default=0), held=Sum("reserved", default=0)
        )
    )
    lots, held, last_days = [], dict.fromkeys(rows.values(), 0), []
    for pk, best_before, amount, reserved in sums:
        if pk not in rows:
            continue
        row = rows[pk]
        held[row] += int(reserved)
        if amount:
            lots.append((row, 0, int(amount)))
            last_days.append(
                NEVER if best_before is None else (best_before - on).days - time_to_use[row]
            )
    return lots, held, last_days


def _ordered(rows: Mapping[int, int], only: Mapping[str, Any], *, on: date) -> list[Row]:
    """What placed orders still have to bring, on the day it is expected. One query."""
    lines = (
        PurchaseOrderLine.objects.filter(
            order__state=PurchaseOrder.State.PLACED, amount__gt=F("received"), **only
        )
        .order_by()
        .values_list("material", "order__expected_on")
        .annotate(open=Sum(F("amount") - F("received")))
    )
    return _dated(rows, lines, on=on)


def _made(rows: Mapping[int, int], only: Mapping[str, Any], *, on: date) -> list[Row]:
    """What planned batches will make, on the day it is there. One query."""
    return _dated(rows, makes_by_day(expected_makes().filter(**only), on=on), on=on)


def _needed(
    rows: Mapping[int, int], only: Mapping[str, Any], held: Mapping[int, int], *, on: date
) -> tuple[list[Row], list[Row]]:
    """Reserved and planned, by the day of the holder's requirement. One query."""
    reserved, planned = [], []
    left = dict(held)
    needs = open_requirements().filter(**only).order_by("due_on", "pk")
    for pk, due_on, amount, still_open in needs.values_list("material", "due_on", "amount", "open"):
        if pk not in rows:
            continue
        row, day = rows[pk], (due_on - on).days
        if still_open:
            planned.append((row, day, int(still_open)))
        covered = min(int(amount - still_open), left[row])
        if covered > 0:
            reserved.append((row, day, covered))
            left[row] -= covered
    reserved += [(row, 0, amount) for row, amount in left.items() if amount > 0]
    return reserved, planned


def _dated(
    rows: Mapping[int, int], found: Iterable[tuple[int, date, Any]], *, on: date
) -> list[Row]:
    return [(rows[pk], (day - on).days, int(amount)) for pk, day, amount in found if pk in rows]
