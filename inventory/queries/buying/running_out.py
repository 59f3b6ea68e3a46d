"""What a projection says of one material, and of all: what runs low or short, the days it lasts."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from inventory.domain.buying.forecasting import Whole
from inventory.models.catalog.materials import Material
from inventory.queries.buying.projection import ProjectedStock
from inventory.queries.stock.on_order import coverage_dates


@dataclass(frozen=True, slots=True, kw_only=True)
class StockOutlook:
    """Sums over the horizon, in the material's stock unit.

    `lowest` and `ending` are balances at the end of days. `first_short_on` is the first day that
    ends below zero, `first_low_on` the first that ends at or below the reorder point; None when
    there is none. `cover_days` is how long today's stock lasts without new supply: `outlasts` when
    longer than the horizon. `use_known` is False where nothing of it was used in the periods that
    are looked at: then `forecast` is None, not zero, and so are `cover_days` and `outlasts` where
    plans alone do not use it up.
    """

    material: Material
    on_hand: int
    reserved: int
    planned: int
    forecast: int | None
    on_order: int
    late: int
    being_made: int
    expiring: int
    lowest: int
    ending: int
    first_short_on: date | None
    first_low_on: date | None
    cover_days: int | None
    outlasts: bool | None
    use_known: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StockDay:
    """One day of one material; `balance` is what is left in the evening.

    `forecast` is None where its use is not known, as in the outlook.
    """

    material: Material
    on: date
    reserved: int
    planned: int
    forecast: int | None
    on_order: int
    being_made: int
    expiring: int
    balance: int


def outlooks(projected: ProjectedStock) -> list[StockOutlook]:
    """The sums of each material, in the order of the projection. No query."""
    points = [
        -1 if material.reorder_point is None else material.reorder_point
        for material in projected.materials
    ]
    short = _dates(projected, projected.stock.first_short)
    low = _dates(projected, projected.stock.first_day_at_most(np.array(points, dtype=np.int64)))
    sums = {
        name: table.sum(axis=1).tolist()
        for name, table in (
            ("reserved", projected.reserved),
            ("planned", projected.planned),
            ("forecast", projected.forecast),
            ("on_order", projected.on_order),
            ("being_made", projected.being_made),
            ("expiring", projected.stock.expiring),
        )
    }
    columns = {
        "on_hand": projected.stock.opening.tolist(),
        "late": projected.late.tolist(),
        "lowest": projected.stock.balance.min(axis=1, initial=np.iinfo(np.int64).max).tolist(),
        "ending": projected.stock.balance[:, -1].tolist(),
        "cover_days": projected.stock.cover.tolist(),
    } | sums
    return [
        _told(
            StockOutlook(
                material=material,
                first_short_on=short[row],
                first_low_on=None if material.reorder_point is None else low[row],
                outlasts=columns["cover_days"][row] == projected.days,
                use_known=projected.forecasts[row].is_known,
                **{name: values[row] for name, values in columns.items()},
            )
        )
        for row, material in enumerate(projected.materials)
    ]


def _told(outlook: StockOutlook) -> StockOutlook:
    """The same without what follows from a use that nobody knows."""
    if outlook.use_known:
        return outlook
    if not outlook.outlasts:
        return replace(outlook, forecast=None)
    return replace(outlook, forecast=None, cover_days=None, outlasts=None)


def days_of(projected: ProjectedStock, row: int = 0) -> list[StockDay]:
    """The days of one material of a projection, for a chart or a table. No query."""
    tables = {
        "reserved": projected.reserved,
        "planned": projected.planned,
        "forecast": projected.forecast,
        "on_order": projected.on_order,
        "being_made": projected.being_made,
        "expiring": projected.stock.expiring,
        "balance": projected.stock.balance,
    }
    series = {name: table[row].tolist() for name, table in tables.items()}
    if not projected.forecasts[row].is_known:
        series["forecast"] = [None] * projected.days
    return [
        StockDay(
            material=projected.materials[row],
            on=projected.day(index),
            **{name: values[index] for name, values in series.items()},
        )
        for index in range(projected.days)
    ]


def _dates(projected: ProjectedStock, first: Whole) -> list[date | None]:
    return [None if index < 0 else projected.day(index) for index in first.tolist()]


SHORT, LOW, COMES = "short", "low", "comes in"


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days on end, both belonging to it, on which the same holds."""

    kind: str
    first: date
    last: date


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningOut:
    """A material that runs low or short. `missing` is the most that will be short at once, in its
    stock unit; `could_come` the first day on which any could come in, None when nobody offers it.
    """

    outlook: StockOutlook
    stretches: tuple[Stretch, ...]
    missing: int
    could_come: date | None


def running_out(projected: ProjectedStock) -> list[RunningOut]:
    """The materials that run low or short, what is short first at the top. Two queries."""
    rows = [
        (row, outlook)
        for row, outlook in enumerate(outlooks(projected))
        if outlook.first_short_on or outlook.first_low_on
    ]
    dates = coverage_dates(outlook.material.pk for _, outlook in rows) if rows else {}
    found = [_running_out(projected, row, outlook, dates) for row, outlook in rows]
    return sorted(found, key=_soonest)


def use_not_known(projected: ProjectedStock) -> list[Material]:
    """The materials whose use is not known, so that only plans say how long they last."""
    pairs = zip(projected.materials, projected.forecasts, strict=True)
    return [material for material, forecast in pairs if not forecast.is_known]


def _soonest(each: RunningOut) -> tuple[date, date, str]:
    """What is short comes before what is only low."""
    outlook = each.outlook
    never = date.max
    return (
        outlook.first_short_on or never,
        outlook.first_low_on or never,
        outlook.material.name,
    )


def _running_out(
    projected: ProjectedStock, row: int, outlook: StockOutlook, dates: Mapping[int, date]
) -> RunningOut:
    balance = projected.stock.balance[row]
    point = outlook.material.reorder_point
    low = np.zeros(len(balance), bool) if point is None else (balance <= point) & (balance >= 0)
    comes = (projected.on_order[row] + projected.being_made[row]) > 0
    stretches = [
        *_stretches(projected, balance < 0, SHORT),
        *_stretches(projected, low, LOW),
        *_stretches(projected, comes, COMES),
    ]
    return RunningOut(
        outlook=outlook,
        stretches=tuple(sorted(stretches, key=lambda each: (each.first, each.kind))),
        missing=max(0, -outlook.lowest),
        could_come=dates.get(outlook.material.pk),
    )


def _stretches(projected: ProjectedStock, holds: NDArray[np.bool_], kind: str) -> list[Stretch]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], holds.astype(np.int8), [0]))))
    return [
        Stretch(kind, projected.day(int(first)), projected.day(int(after) - 1))
        for first, after in zip(edges[::2], edges[1::2], strict=True)
    ]
