"""Stock day by day, from everything that is known of the days to come."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db.models import QuerySet

from inventory.domain.buying.backtest import Forecast, forecast_all
from inventory.domain.buying.demand import Period, beyond_known, whole_periods
from inventory.domain.buying.forecasting import Whole
from inventory.domain.buying.stock_projection import Outlook, Projection, by_day, project_stock
from inventory.models.catalog.materials import Material
from inventory.queries.buying.aims import aims_of
from inventory.queries.buying.outlook import Known, known_of
from inventory.queries.buying.usage import usage

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
    wanted = _wanted(materials)
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


def _wanted(materials: "QuerySet[Material] | Iterable[int] | None") -> "QuerySet[Material]":
    if materials is None:
        return Material.objects.filter(active=True)
    if isinstance(materials, QuerySet):
        return materials
    return Material.objects.filter(pk__in=list(materials))
