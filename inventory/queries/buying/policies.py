"""What the studio could take as reorder point and order-up-to level, with the numbers behind it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import F, Max, Q, QuerySet

from inventory.domain.buying.backtest import Forecast, forecast_all
from inventory.domain.buying.demand import Period
from inventory.domain.buying.policy import (
    Aims,
    DailyDemand,
    LeadTime,
    LeadTimeSource,
    Pack,
    Suggestion,
    daily,
    learned_lead_time,
    suggest,
)
from inventory.models.buying.orders import PurchaseOrder
from inventory.models.buying.policies import PolicySettings
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer
from inventory.models.receiving.deliveries import DeliveryLine
from inventory.queries.buying.usage import usage
from inventory.queries.catalog.offers import current_offers


@dataclass(frozen=True, slots=True)
class LeadTimes:
    """Days from order to delivery: by material and supplier, and by supplier. One per order."""

    of_material: Mapping[tuple[int, int], list[int]]
    of_supplier: Mapping[int, list[int]]

    def of(self, offer: Offer) -> LeadTime:
        """The lead time of an offer: learned of its material, else of its supplier, else stated."""
        key = (offer.material_id, offer.supplier_id)
        return (
            learned_lead_time(self.of_material.get(key, []), LeadTimeSource.MATERIAL)
            or learned_lead_time(
                self.of_supplier.get(offer.supplier_id, []), LeadTimeSource.SUPPLIER
            )
            or LeadTime(mean=offer.days_to_come)
        )


def lead_times() -> LeadTimes:
    """All lead times that deliveries against orders have shown. One query.

    An order counts with the day on which the last of it came: only then the need was met. Lines
    that still wait for something do not count, nor does what came without an order.
    """
    filled = Q(order_line__received__gte=F("order_line__amount")) | Q(
        order_line__order__state=PurchaseOrder.State.CLOSED
    )
    rows = (
        DeliveryLine.objects.filter(filled, order_line__isnull=False)
        .order_by()
        .values_list(
            "order_line__order",
            "order_line__order__supplier",
            "material",
            "order_line__order__ordered_on",
        )
        .annotate(last=Max("delivery__received_on"))
    )
    by_material: dict[tuple[int, int], list[int]] = defaultdict(list)
    whole_orders: dict[tuple[int, int], int] = {}
    for order, supplier, material, ordered_on, last in rows:
        days = max((last - ordered_on).days, 0)
        by_material[material, supplier].append(days)
        whole_orders[order, supplier] = max(whole_orders.get((order, supplier), 0), days)
    by_supplier: dict[int, list[int]] = defaultdict(list)
    for (_, supplier), days in whole_orders.items():
        by_supplier[supplier].append(days)
    return LeadTimes(by_material, by_supplier)


FIELDS = ("service_level", "order_cost", "holding_share", "time_to_use_days")


def aims_of(ids: Iterable[int]) -> dict[int, Aims]:
    """The aims by material id: its own, else the studio's, else the defaults. One query.

    The studio's own stand under 0.
    """
    rows = {row.material_id or 0: row for row in PolicySettings.objects.order_by()}
    base = _over(Aims(), rows.get(0))
    return {0: base} | {pk: _over(base, rows.get(pk)) for pk in ids}


def _over(base: Aims, row: PolicySettings | None) -> Aims:
    if row is None:
        return base
    values: dict[str, Any] = {name: getattr(base, name) for name in FIELDS}
    values |= {name: value for name in FIELDS if (value := getattr(row, name)) is not None}
    return Aims(**values)


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
