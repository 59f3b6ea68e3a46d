"""What the studio could take as reorder point and order-up-to level, with the numbers behind it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from inventory.domain.buying.backtest import Forecast, forecast_all
from inventory.domain.buying.demand import Period
from inventory.domain.buying.policy import Aims, DailyDemand, Pack, Suggestion, daily, suggest
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer
from inventory.queries.buying.aims import aims_of
from inventory.queries.buying.lead_times import LeadTimes, lead_times
from inventory.queries.buying.usage import usage
from inventory.queries.catalog.offers import current_offers


@dataclass(frozen=True, slots=True, kw_only=True)
class SuggestedPolicy:
    """A material, the forecast of its use by period, and the policy that follows."""

    material: Material
    period: Period
    forecast: Forecast
    suggestion: Suggestion

    @property
    def revision(self) -> int:
        """That of the material: it is what adopting the policy changes."""
        return self.material.revision


def suggested_policies(
    *, on: date, materials: "QuerySet[Material]", period: Period = Period.WEEK
) -> list[SuggestedPolicy]:
    """The policies that follow from what is known on a day, in order of code.

    Six queries for any number of materials.
    """
    rows = list(materials.order_by("code"))
    ids = [material.pk for material in rows]
    aims = aims_of(ids)
    used = usage(on=on, period=period, ids=ids, materials=materials)
    learned = lead_times()
    offers: dict[int, list[Offer]] = defaultdict(list)
    wanted = materials.order_by().values("pk")
    for offer in current_offers(on).filter(material__in=wanted).select_related("supplier"):
        offers[offer.material_id].append(offer)
    forecasts = forecast_all(used.history, used.started, season=period.season)
    return [
        SuggestedPolicy(
            material=material,
            period=period,
            forecast=forecast,
            suggestion=_suggestion(
                material,
                demand=daily(forecast, period),
                offers=offers[material.pk],
                learned=learned,
                aims=aims[material.pk],
            ),
        )
        for material, forecast in zip(rows, forecasts, strict=True)
    ]


def _suggestion(
    material: Material,
    *,
    demand: DailyDemand | None,
    offers: Sequence[Offer],
    learned: LeadTimes,
    aims: Aims,
) -> Suggestion:
    return suggest(
        demand=demand,
        packs=[pack for offer in offers for pack in _packs(offer)],
        lead_times={offer.code: learned.of(offer) for offer in offers},
        aims=aims,
        shelf_life_days=material.shelf_life_days,
    )


def _packs(offer: Offer) -> list[Pack]:
    """An offer at its own price, and at that of each break from its packs on."""
    steps = [(1, offer.price), *((each.from_packs, each.price) for each in offer.breaks)]
    return [
        Pack(
            offer=offer.code,
            amount=offer.pack_amount,
            price=price,
            minimum=max(from_packs, offer.minimum_packs),
        )
        for from_packs, price in steps
    ]
