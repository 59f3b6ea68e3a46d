"""Stock day by day, from everything that is known of the days to come."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from django.db.models import F, QuerySet, Sum

from inventory.domain.buying.backtest import Forecast, forecast_all
from inventory.domain.buying.demand import Period, beyond_known, counted, whole_periods
from inventory.domain.buying.forecasting import Whole
from inventory.domain.buying.stock_projection import (
    NEVER,
    Flow,
    Outlook,
    Projection,
    Supply,
    by_day,
    project_stock,
)
from inventory.models.buying.orders import PurchaseOrder, PurchaseOrderLine
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.queries.buying.policies import aims_of
from inventory.queries.buying.usage import usage
from inventory.queries.catalog.materials import wanted_materials
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


LONGEST_HORIZON = 730


@dataclass(frozen=True, slots=True, kw_only=True)
class ProjectedStock:
    """The projection of many materials: one row each in every matrix, one column a day from `on`.

    `reserved` and `planned` are known demand, `forecast` what experience adds to it, `on_order`
    and `being_made` what comes; `late` is on order and should have been there before `on`.
    """

    on: date
    days: int
    materials: Sequence[Material]
    forecasts: Sequence[Forecast]
    reserved: Whole
    planned: Whole
    forecast: Whole
    on_order: Whole
    being_made: Whole
    late: Whole
    stock: Projection

    def day(self, index: int) -> date:
        """The date of a column."""
        return self.on + timedelta(days=index)


def project_materials(
    *,
    on: date,
    days: int,
    materials: "QuerySet[Material] | Iterable[int] | None" = None,
    period: Period = Period.WEEK,
) -> ProjectedStock:
    """Project materials over `days` days from `on`, in order of code. Eight queries for any number.

    `materials` is a queryset of materials or their ids; None means every active material. Raises
    InvalidInput when amounts are too large to be counted exactly.
    """
    wanted = wanted_materials(materials)
    rows = list(wanted.order_by("code"))
    ids = [material.pk for material in rows]
    # All active materials are most of what there is: no need to name them again in each query.
    narrowed = None if materials is None else wanted
    aims = aims_of(ids)
    keeps = [
        None if row.shelf_life_days is None else row.shelf_life_days - aims[row.pk].time_to_use_days
        for row in rows
    ]
    known = known_of(
        on=on,
        ids=ids,
        materials=narrowed,
        keeps=keeps,
        time_to_use=[aims[pk].time_to_use_days for pk in ids],
    )
    used = usage(on=on, period=period, ids=ids, materials=narrowed)
    forecasts = forecast_all(used.history, used.started, season=period.season)
    return _project(rows, known, forecasts, on=on, days=days, period=period)


def _project(
    rows: Sequence[Material],
    known: Known,
    forecasts: Sequence[Forecast],
    *,
    on: date,
    days: int,
    period: Period,
) -> ProjectedStock:
    """Lay what is known beside the forecast, day by day."""
    count = len(rows)
    # Whole periods, so that a plan late in the last one uses up its forecast too.
    span = whole_periods(days, period) * period.days
    reserved = by_day(known.reserved, rows=count, days=span)
    planned = by_day(known.planned, rows=count, days=span)
    coming = [each.over(span // period.days) for each in forecasts]
    rates = np.array(coming, dtype=np.float64).reshape(count, span // period.days)
    added = beyond_known(reserved + planned, rates, period=period)
    demand = (reserved + planned + added)[:, :days]
    outlook = Outlook(
        rows=count, days=days, on_hand=known.on_hand, arriving=known.arriving, demand=demand
    )
    return ProjectedStock(
        on=on,
        days=days,
        materials=rows,
        forecasts=forecasts,
        reserved=reserved[:, :days],
        planned=planned[:, :days],
        forecast=added[:, :days],
        on_order=by_day(known.on_order, rows=count, days=days),
        being_made=by_day(known.being_made, rows=count, days=days),
        late=known.late,
        stock=project_stock(outlook),
    )
