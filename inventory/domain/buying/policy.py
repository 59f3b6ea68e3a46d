"""When to reorder and how much: from demand, lead time, prices and what the studio aims at.

Amounts are in the material's stock unit, money in ten-thousandths, days are calendar days. The
published formulas work with floats; what is suggested is rounded up to whole units once.
"""

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from enum import StrEnum

from inventory.domain.buying.backtest import Forecast
from inventory.domain.buying.demand import Period
from inventory.domain.buying.lot_sizing import Tier, annual_cost, quantity_with_discounts
from studio.foundation.errors import InvalidInput

DAYS_PER_YEAR = 365
#: Deliveries that it takes to trust their own lead times (common practice, no source).
FEWEST_LEAD_TIMES = 3


class LeadTimeSource(StrEnum):
    """Where a lead time was learned, the closest first."""

    MATERIAL = "deliveries-of-the-material"
    SUPPLIER = "deliveries-of-the-supplier"
    STATED = "stated"


@dataclass(frozen=True, slots=True, kw_only=True)
class Aims:
    """What the studio aims at when it reorders; the defaults are common practice, no source."""

    service_level: Decimal = Decimal("0.95")
    order_cost: int = 100_000
    holding_share: Decimal = Decimal("0.25")
    time_to_use_days: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class DailyDemand:
    """Demand of a day: mean and standard deviation."""

    mean: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadTime:
    """Days from order to delivery, from `sample` deliveries; 0 for one that is only stated."""

    mean: float
    sd: float = 0.0
    sample: int = 0
    source: LeadTimeSource = LeadTimeSource.STATED


@dataclass(frozen=True, slots=True, kw_only=True)
class ReorderPoint:
    """A reorder point with what it is made of: expected demand of the lead time + safety stock."""

    expected: float
    sd: float
    z: float
    safety_stock: float
    point: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """An offer as a way to buy: packs of `amount`, no fewer than `minimum`, each at `price`."""

    offer: str
    amount: int
    price: int
    minimum: int = 1

    @property
    def from_quantity(self) -> int:
        """The smallest amount that can be bought so."""
        return self.amount * self.minimum

    @property
    def unit_price(self) -> float:
        """Price per stock unit."""
        return self.price / self.amount


@dataclass(frozen=True, slots=True, kw_only=True)
class Purchase:
    """What to buy at a time: whole packs of one offer; `annual_cost` is of buying, ordering,
    holding. `ideal` is the economic quantity before it became whole packs."""

    offer: str
    packs: int
    amount: int
    ideal: float
    annual_cost: float
    kept_short: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """A policy with the numbers behind it. Without demand or lead time there is none: `gaps` says
    what is missing. `reorder_to` is the order-up-to level S of an (s, S) policy."""

    aims: Aims
    demand: DailyDemand | None
    lead_time: LeadTime | None
    at: ReorderPoint | None = None
    purchase: Purchase | None = None
    reorder_point: int | None = None
    reorder_to: int | None = None
    gaps: tuple[str, ...] = field(default_factory=tuple)


def safety_factor(service_level: float) -> float:
    """z: the standard normal quantile of the service level.

    The service level is the chance of no shortage while an order is under way. Source: Stevenson,
    "Operations Management", 14th ed., chapter 12; for a holding cost h and a shortage cost p the
    level is p / (p + h) (Snyder and Shen, "Fundamentals of Supply Chain Theory", 2nd ed.).
    Raises InvalidInput unless it is above 0 and below 1.
    """
    if not 0 < service_level < 1:
        raise InvalidInput("A service level is above 0 and below 1.", field="service_level")
    return statistics.NormalDist().inv_cdf(service_level)


def reorder_point(*, demand: DailyDemand, lead_time: LeadTime, z: float) -> ReorderPoint:
    """d L + z sqrt(L s_d^2 + d^2 s_L^2): expected demand of the lead time, and safety stock.

    With d, s_d the mean and standard deviation of a day's demand, L and s_L those of the lead
    time, both normal and independent. Source: Stevenson, "Operations Management", 14th ed., chapter
    12 (reorder point with variable demand and lead time; the formula from memory). Raises
    InvalidInput for a number below zero.
    """
    if min(demand.mean, demand.sd, lead_time.mean, lead_time.sd) < 0:
        raise InvalidInput("Demand, lead time and their deviations are not below zero.")
    expected = demand.mean * lead_time.mean
    sd = math.hypot(demand.sd * math.sqrt(lead_time.mean), demand.mean * lead_time.sd)
    safety = z * sd
    return ReorderPoint(expected=expected, sd=sd, z=z, safety_stock=safety, point=expected + safety)


def daily(forecast: Forecast, period: Period) -> DailyDemand | None:
    """Demand of a day from the forecast of a period; None where use is not known.

    Days are taken as alike and independent, so a deviation is divided by the root of the days.
    """
    if not forecast.is_known:
        return None
    return DailyDemand(
        mean=forecast.rate / period.days, sd=forecast.spread / math.sqrt(period.days)
    )


def learned_lead_time(days: Sequence[int], source: LeadTimeSource) -> LeadTime | None:
    """Mean and sample standard deviation of past lead times; None when they are too few."""
    if len(days) < FEWEST_LEAD_TIMES:
        return None
    return LeadTime(
        mean=statistics.fmean(days), sd=statistics.stdev(days), sample=len(days), source=source
    )


def purchase_of(
    packs: Sequence[Pack], *, yearly: float, aims: Aims, keeps_days: int | None
) -> Purchase | None:
    """What to buy at a time, in whole packs of the cheapest way; None without a priced offer.

    Offers are prices for all units from their smallest amount on, larger ones only where they are
    cheaper by the unit. No more is bought than is used while it keeps (`keeps_days` days), unless
    the smallest purchase is more: then `kept_short` is set. Formula and source: see
    `quantity_with_discounts`; that perishables are not bought beyond their life is common practice.
    """
    ways = _price_list(packs)
    if not ways or yearly <= 0:
        return None
    most = math.inf if keeps_days is None else yearly / DAYS_PER_YEAR * max(keeps_days, 0)
    within = [way for way in ways if way.from_quantity <= most] or ways[:1]
    best = quantity_with_discounts(
        [Tier(way.from_quantity, way.unit_price) for way in within],
        demand=yearly,
        order_cost=aims.order_cost,
        holding_share=float(aims.holding_share),
    )
    way = within[best.tier]
    count = _whole_packs(min(best.quantity, max(most, way.from_quantity)), way, most=most)
    amount = count * way.amount
    cost = annual_cost(
        amount,
        demand=yearly,
        order_cost=aims.order_cost,
        holding_cost=float(aims.holding_share) * way.unit_price,
        unit_price=way.unit_price,
    )
    return Purchase(
        offer=way.offer,
        packs=count,
        amount=amount,
        ideal=best.quantity,
        annual_cost=cost,
        kept_short=amount > most,
    )


def suggest(
    *,
    demand: DailyDemand | None,
    packs: Sequence[Pack],
    lead_times: Mapping[str, LeadTime],
    aims: Aims,
    shelf_life_days: int | None = None,
) -> Suggestion:
    """An (s, S) policy: s the reorder point, S = s + the economic quantity in whole packs.

    The two are found one after the other, as is usual where the order quantity is large against
    the demand of the lead time. Source: Silver, Pyke and Thomas, "Inventory and Production
    Management in Supply Chains", 4th ed. (2017) (from memory). The lead time is that of the offer
    to buy; without a priced one the longest, and S is s. Without demand there is no suggestion.
    """
    purchase = None
    if demand is not None:
        keeps = None if shelf_life_days is None else shelf_life_days - aims.time_to_use_days
        yearly = demand.mean * DAYS_PER_YEAR
        purchase = purchase_of(packs, yearly=yearly, aims=aims, keeps_days=keeps)
    lead_time = _lead_time(purchase, lead_times)
    missing = {
        "no-use": demand is None or demand.mean <= 0,
        "no-lead-time": lead_time is None,
        "no-priced-offer": purchase is None,
    }
    found = Suggestion(
        aims=aims,
        demand=demand,
        lead_time=lead_time,
        purchase=purchase,
        gaps=tuple(name for name, is_missing in missing.items() if is_missing),
    )
    if demand is None or demand.mean <= 0 or lead_time is None:
        return found
    level = float(aims.service_level)
    at = reorder_point(demand=demand, lead_time=lead_time, z=safety_factor(level))
    point = math.ceil(at.point)
    amount = purchase.amount if purchase else 0
    return replace(found, at=at, reorder_point=point, reorder_to=point + amount)


def _lead_time(purchase: Purchase | None, lead_times: Mapping[str, LeadTime]) -> LeadTime | None:
    """That of the offer to buy; the longest when none is known to be bought."""
    if purchase is not None:
        return lead_times[purchase.offer]
    return max(lead_times.values(), key=lambda each: each.mean, default=None)


def _whole_packs(quantity: float, way: Pack, *, most: float) -> int:
    """The packs that hold a quantity; fewer when that is more than keeps and fewer are sold."""
    count = max(math.ceil(quantity / way.amount - 1e-9), way.minimum)
    if count * way.amount > most:
        count = max(math.floor(most / way.amount), way.minimum)
    return count


def _price_list(packs: Sequence[Pack]) -> list[Pack]:
    """Ways to buy by ascending amount, each cheaper by the unit than all smaller ones."""
    ways: list[Pack] = []
    for pack in sorted(packs, key=lambda each: (each.from_quantity, each.unit_price, each.offer)):
        if pack.price > 0 and (not ways or pack.unit_price < ways[-1].unit_price):
            ways.append(pack)
    # Of two that begin at the same amount, the first is the cheaper.
    return ways
