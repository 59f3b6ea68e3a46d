"""What was used of materials, as the ledger tells it, and the demand that this lets expect."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from django.db.models import Case, Min, QuerySet, Sum, Value, When
from django.utils import timezone

from inventory.domain.buying.backtest import Forecast, forecast_all
from inventory.domain.buying.demand import Period
from inventory.domain.buying.forecasting import Floats, Whole
from inventory.domain.stock.ledger import Verb
from inventory.models.buying.requirements import Requirement
from inventory.models.catalog.materials import Material
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.queries.stock.supplies import open_requirements

#: Two years of weeks, twenty weeks of days: two whole seasons and more.
PERIODS = {Period.WEEK: 104, Period.DAY: 140}
_USED = (Verb.CONSUME.value, Verb.SHIP.value)
#: The number of all periods before those that are told.
_BEFORE = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class Usage:
    """Use in stock units by material (in the order asked for) and period, oldest first.

    The last period ends the day before `on`. `started` is the period in which a material's first
    lot was booked, or of its first use where the past was entered later: what stands before says
    nothing, however long a lot is here.
    """

    on: date
    period: Period
    history: Floats
    started: Whole

    def first_day(self, index: int) -> date:
        """The first day of a period."""
        periods = self.history.shape[1]
        return self.on - timedelta(days=(periods - index) * self.period.days)


def usage(
    *, on: date, period: Period, ids: Sequence[int], materials: "QuerySet[Material] | None" = None
) -> Usage:
    """What was consumed and shipped of the materials `ids`. Two queries for any number.

    Days are those of use, whenever it was booked; waste and differences of counts are no use.
    `materials` is the same choice as a queryset, None for all: it stays a subquery.
    """
    periods = PERIODS[period]
    starts = [on - timedelta(days=(periods - index) * period.days) for index in range(periods + 1)]
    rows = {pk: row for row, pk in enumerate(ids)}
    history = np.zeros((len(rows), periods))
    entries = StockEntry.objects.filter(verb__in=_USED, on__lt=on)
    lots = Lot.objects.all()
    if materials is not None:
        wanted = materials.order_by().values("pk")
        entries, lots = entries.filter(lot__material__in=wanted), lots.filter(material__in=wanted)
    used = (
        entries.order_by()
        .annotate(period=_period_of(starts))
        .values_list("lot__material", "period")
        .annotate(total=Sum("on_hand"))
    )
    started = np.full(len(rows), periods, dtype=np.int64)
    for pk, index, total in used:
        if pk in rows:
            started[rows[pk]] = min(started[rows[pk]], max(index, 0))
            if index != _BEFORE:
                history[rows[pk], index] = -int(total)
    first = lots.order_by().values_list("material").annotate(first=Min("created_at"))
    for pk, at in first:
        if pk in rows:
            behind = (timezone.localtime(at).date() - starts[0]).days // period.days
            started[rows[pk]] = min(started[rows[pk]], max(behind, 0))
    return Usage(on=on, period=period, history=history, started=started)


def _period_of(starts: Sequence[date]) -> Any:
    """The number of the period of an entry's day, or `_BEFORE` all of them."""
    inside = _halved(starts, 0, len(starts) - 1)
    return Case(When(on__lt=starts[0], then=Value(_BEFORE)), default=inside)


def _halved(starts: Sequence[date], first: int, end: int) -> Any:
    """By halving, which takes few comparisons an entry."""
    if end - first == 1:
        return Value(first)
    middle = (first + end) // 2
    return Case(
        When(on__lt=starts[middle], then=_halved(starts, first, middle)),
        default=_halved(starts, middle, end),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """Past use by period, the forecast made from it, and the dated requirements.

    Each requirement has `open`: what of it its holder's reservation does not hold.
    """

    material: Material
    period: Period
    used: Usage
    forecast: Forecast
    requirements: list[Requirement]

    @property
    def history(self) -> list[tuple[date, int]]:
        """(first day, stock units used) of each period since the material was there."""
        started = int(self.used.started[0])
        values = self.used.history[0].tolist()
        return [
            (self.used.first_day(index), int(values[index]))
            for index in range(started, len(values))
        ]


def demand_of(material: Material, *, on: date, period: Period) -> Demand:
    """The demand of one material as known on a day. Three queries."""
    only = Material.objects.filter(pk=material.pk)
    used = usage(on=on, period=period, ids=[material.pk], materials=only)
    (forecast,) = forecast_all(used.history, used.started, season=period.season)
    required = open_requirements().filter(material=material).order_by("due_on", "pk")
    return Demand(
        material=material,
        period=period,
        used=used,
        forecast=forecast,
        requirements=list(required),
    )
