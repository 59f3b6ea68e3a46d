"""What a buy plan is made from: what runs short, when, and who sells it on what terms."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from django.db.models import Q, QuerySet

from inventory.domain.buying.plan import (
    BuyProblem,
    BuyRules,
    Need,
    OfferingSupplier,
    OpenOffer,
    StockStep,
    WantedMaterial,
)
from inventory.domain.buying.policy import Aims
from inventory.domain.buying.projection import assess
from inventory.domain.catalog.materials import MADE_HERE
from inventory.domain.catalog.packs import friendly_amount
from inventory.models.buying.orders import BuyPlan
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.queries.buying.policies import aims_of
from inventory.queries.buying.projection import ProjectedStock, project_materials
from inventory.queries.stock.positions import StockPosition, stock_positions

#: What runs short within the same so many days is one need, due on the first of them.
BUCKET_DAYS = 7
_YEAR = 365


@dataclass(frozen=True, slots=True, kw_only=True)
class BuyScope:
    """What to plan for: needs within `days` from `on`, orders on `order_dates`."""

    on: date
    days: int
    order_dates: tuple[date, ...]
    rules: BuyRules


def buy_plans() -> "QuerySet[BuyPlan]":
    """Kept plans with who made them and the orders made of them. Three queries."""
    return BuyPlan.objects.select_related("by").prefetch_related("orders").order_by("-id")


def buy_problem(scope: BuyScope) -> tuple[BuyProblem, dict[str, Offer]]:
    """The problem of buying all that runs short, and the offers by code. 15 queries.

    A material is short where its projected stock falls below zero within the days, or where what
    is to be expected of it is at or below its reorder point: then up to what it is reordered to,
    ordered on the first day.
    """
    wanted = Material.objects.filter(active=True).exclude(kind__in=[k.value for k in MADE_HERE])
    projected = project_materials(on=scope.on, days=scope.days, materials=wanted)
    positions = stock_positions(on=scope.on, materials=wanted)
    needs = [
        need
        for row, material in enumerate(projected.materials)
        for need in _needs(projected, row, positions[material.pk])
    ]
    short = {need.material for need in needs}
    offers = _offers(short, on=scope.on)
    aims = aims_of(material.pk for material in projected.materials)
    materials = [
        _wanted(projected, row, offers, aims[material.pk])
        for row, material in enumerate(projected.materials)
        if material.code in short
    ]
    problem = BuyProblem(
        order_dates=scope.order_dates,
        horizon=scope.on + timedelta(days=scope.days),
        materials=tuple(materials),
        needs=tuple(needs),
        suppliers=_suppliers(offers, aims[0]),
        offers=tuple(_open_offer(offer) for offer in offers),
        rules=scope.rules,
    )
    return problem, {offer.code: offer for offer in offers}


def _offers(materials: Iterable[str], *, on: date) -> list[Offer]:
    """Offers of these materials (codes) that hold on a day or later. One query."""
    return list(
        Offer.objects.filter(
            Q(valid_until__isnull=True) | Q(valid_until__gte=on),
            material__code__in=list(materials),
            active=True,
            supplier__active=True,
        )
        .select_related("supplier", "material")
        .order_by("code")
    )


def _needs(projected: ProjectedStock, row: int, position: StockPosition) -> list[Need]:
    material = projected.materials[row]
    found: list[Need] = []
    covered = 0
    for first in range(0, projected.days, BUCKET_DAYS):
        balance = projected.stock.balance[row, first : first + BUCKET_DAYS]
        missing = max(0, -int(balance.min()))
        if missing > covered:
            day = first + next(n for n, left in enumerate(balance) if -int(left) > covered)
            due = projected.day(day)
            found.append(
                Need(
                    material=material.code,
                    amount=missing - covered,
                    due=due,
                    why=f"Projected to run short on {due}.",
                )
            )
            covered = missing
    refill = _refill(position)
    if refill > covered:
        level = material.reorder_to or material.reorder_point or 0
        words = friendly_amount(level, counted=material.counted)
        found.append(
            Need(
                material=material.code,
                amount=refill - covered,
                due=projected.on,
                order_on=projected.on,
                why=f"To bring what is expected back to {words}.",
            )
        )
    return found


def _refill(position: StockPosition) -> int:
    """What brings the position of a material that runs low back to its upper level."""
    if position.reorder_point is None or not assess(position.snapshot, position.reorder_point).low:
        return 0
    return max(0, (position.reorder_to or position.reorder_point) - position.projected)


def _wanted(
    projected: ProjectedStock, row: int, offers: Sequence[Offer], aims: Aims
) -> WantedMaterial:
    material = projected.materials[row]
    prices = [
        Fraction(offer.price, offer.pack_amount)
        for offer in offers
        if offer.material_id == material.pk
    ]
    share = Fraction(aims.holding_share) / _YEAR
    # What is planned is not all the use there is: a rate is known only from use that was tested.
    is_known = projected.forecasts[row].is_tested
    used = int(projected.stock.demand[row].sum())
    keeps = material.shelf_life_days
    return WantedMaterial(
        code=material.code,
        name=material.name,
        counted=material.counted,
        keeps_days=None if keeps is None else max(0, keeps - aims.time_to_use_days),
        use_per_day=Fraction(used, projected.days) if is_known else None,
        space=material.shelf_space,
        stock=_steps(projected, row),
        holding_per_day=min(prices, default=Fraction(0)) * share,
    )


def _steps(projected: ProjectedStock, row: int) -> tuple[StockStep, ...]:
    """The projected stock, where it changes."""
    steps: list[StockStep] = []
    for index, left in enumerate(projected.stock.balance[row]):
        if not steps or steps[-1].amount != int(left):
            steps.append(StockStep(projected.day(index), int(left)))
    return tuple(steps)


def _suppliers(offers: Sequence[Offer], aims: Aims) -> tuple[OfferingSupplier, ...]:
    found: dict[str, Supplier] = {offer.supplier.code: offer.supplier for offer in offers}
    return tuple(
        OfferingSupplier(
            code=code,
            name=supplier.name,
            minimum_order=supplier.minimum_order,
            handling=aims.order_cost
            if supplier.order_handling is None
            else supplier.order_handling,
            freight=supplier.freight,
            free_freight_from=supplier.free_freight_from,
        )
        for code, supplier in sorted(found.items())
    )


def _open_offer(offer: Offer) -> OpenOffer:
    return OpenOffer(
        code=offer.code,
        supplier=offer.supplier.code,
        material=offer.material.code,
        pack=offer.pack_amount,
        written=offer.pack_written,
        price=offer.price,
        lead_days=offer.days_to_come,
        breaks=offer.breaks,
        minimum_packs=offer.minimum_packs,
        valid_from=offer.valid_from,
        valid_until=offer.valid_until,
    )
