"""What chosen packs cost, summed up exactly from the offers' and suppliers' own terms."""

import math
from collections import defaultdict
from collections.abc import Mapping
from datetime import date

from inventory.domain.buying.plan import (
    BuyLine,
    BuyProblem,
    OfferingSupplier,
    OpenOffer,
    PlanCost,
    PlannedOrder,
    PricedPlan,
    WantedMaterial,
)
from inventory.domain.catalog.packs import pack_price

#: Packs by offer code and the day on which they are ordered.
Packs = Mapping[tuple[str, date], int]


def priced_plan(problem: BuyProblem, packs: Packs) -> PricedPlan:
    """The plan that buys these packs, with its whole cost. Orders stand by day, then supplier."""
    offers = {offer.code: offer for offer in problem.offers}
    lines: dict[tuple[date, str], list[BuyLine]] = defaultdict(list)
    for (code, day), count in sorted(packs.items()):
        if count:
            offer = offers[code]
            lines[day, offer.supplier].append(_line(offer, day, count))
    suppliers = {supplier.code: supplier for supplier in problem.suppliers}
    orders = tuple(
        _order(suppliers[supplier], day, tuple(found))
        for (day, supplier), found in sorted(lines.items())
    )
    cost = PlanCost(
        goods=sum(order.goods for order in orders),
        freight=sum(order.freight for order in orders),
        handling=sum(order.handling for order in orders),
        holding=_holding(problem, orders),
    )
    return PricedPlan(orders=orders, cost=cost)


def keeping_cost(material: WantedMaterial, amount: int, *, come: date, until: date) -> int:
    """What keeping an amount from the day it comes costs, rounded up to a ten-thousandth."""
    return math.ceil(material.holding_per_day * amount * max(0, (until - come).days))


def used_credit(problem: BuyProblem) -> int:
    """What keeping what meets the needs from their due days on would have cost, rounded down.

    A plan's holding cost is that of keeping all that comes until the horizon, less this: what is
    used is not kept. What brings a stock back to its level is kept, so it counts nothing. It is the
    same for every plan.
    """
    materials = {material.code: material for material in problem.materials}
    return sum(
        math.floor(
            materials[need.material].holding_per_day
            * need.amount
            * (problem.horizon - need.due).days
        )
        for _, need in problem.to_meet
        if need.order_on is None
    )


def freight_of(supplier: OfferingSupplier, goods: int) -> int:
    """The freight of an order whose goods are worth so much."""
    free = supplier.free_freight_from
    return 0 if free is not None and goods >= free else supplier.freight


def _line(offer: OpenOffer, day: date, count: int) -> BuyLine:
    price = pack_price(count, price=offer.price, breaks=offer.breaks)
    return BuyLine(
        offer=offer.code,
        material=offer.material,
        packs=count,
        amount=count * offer.pack,
        pack_price=price,
        price=count * price,
        arrives_on=offer.arrives(day),
    )


def _order(supplier: OfferingSupplier, day: date, lines: tuple[BuyLine, ...]) -> PlannedOrder:
    goods = sum(line.price for line in lines)
    return PlannedOrder(
        supplier=supplier.code,
        order_on=day,
        lines=lines,
        freight=freight_of(supplier, goods),
        handling=supplier.handling,
    )


def _holding(problem: BuyProblem, orders: tuple[PlannedOrder, ...]) -> int:
    materials = {material.code: material for material in problem.materials}
    packs = {offer.code: offer.pack for offer in problem.offers}
    kept = sum(
        # By the pack, as the program counts it: rounding must not tell them apart.
        line.packs
        * keeping_cost(
            materials[line.material],
            packs[line.offer],
            come=line.arrives_on,
            until=problem.horizon,
        )
        for order in orders
        for line in order.lines
    )
    return kept - used_credit(problem)
