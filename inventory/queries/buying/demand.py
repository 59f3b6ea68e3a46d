"""The demand of one material: what was used, what that lets expect, what is required by date."""

from dataclasses import dataclass
from datetime import date

from inventory.domain.buying.backtest import Forecast, forecast_all
from inventory.domain.buying.demand import Period
from inventory.models.buying.requirements import Requirement
from inventory.models.catalog.materials import Material
from inventory.queries.buying.usage import Usage, usage
from inventory.queries.stock.supplies import open_requirements


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
