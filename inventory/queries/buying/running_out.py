"""What a projection says of one material, and of all: what runs low or short, the days it lasts."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from inventory.models.catalog.materials import Material
from inventory.queries.buying.projection import ProjectedStock
from inventory.queries.buying.stock_outlook import StockOutlook, outlooks
from inventory.queries.stock.on_order import coverage_dates

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
