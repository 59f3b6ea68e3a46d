"""A solved buy plan as plain values to keep: orders, costs, the proof and the reasons."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from inventory.domain.buying.plan import (
    BuyLine,
    BuyProblem,
    Need,
    PlannedOrder,
    PricedPlan,
    Solution,
    UnmetNeed,
    WantedMaterial,
)
from inventory.domain.buying.plan_late import LateNeed
from inventory.domain.buying.plan_words import latest_order_date, reason
from inventory.models.catalog.suppliers import Offer
from studio.foundation.local_words import written_money


def record(
    problem: BuyProblem,
    solution: Solution,
    late: Sequence[LateNeed],
    offers: Mapping[str, Offer],
) -> dict[str, Any]:
    """Everything that is kept of a plan; money in ten-thousandths, amounts in stock units."""
    problem = replace(problem, left_out=solution.left_out)
    materials = {material.code: material for material in problem.materials}
    plan, second = solution.plan, solution.runner_up
    return {
        "outcome": solution.outcome.value,
        "cost": _cost(plan),
        "bound": solution.bound,
        "gap": solution.gap,
        "orders": []
        if plan is None
        else [_order(problem, plan, order, offers) for order in plan.orders],
        "runner_up": None
        if second is None
        else {"cost": _cost(second), "orders": [_short(order) for order in second.orders]},
        "runner_up_proven": solution.runner_up_proven,
        "needs": [_need(need, materials[need.material]) for need in problem.needs],
        "unmet": [_unmet(each, materials[each.need.material]) for each in solution.unmet],
        "late": [_late(each, materials[each.need.material]) for each in late],
        "unlimited_by_shelf_life": sorted(
            material.code
            for material in problem.materials
            if material.keeps_days is not None and material.use_per_day is None
        ),
    }


def _cost(plan: PricedPlan | None) -> dict[str, int] | None:
    if plan is None:
        return None
    cost = plan.cost
    return {
        "goods": cost.goods,
        "freight": cost.freight,
        "handling": cost.handling,
        "holding": cost.holding,
        "paid": cost.paid,
        "total": cost.total,
    }


def _order(
    problem: BuyProblem, plan: PricedPlan, order: PlannedOrder, offers: Mapping[str, Offer]
) -> dict[str, Any]:
    return {
        "supplier": order.supplier,
        "name": next(each.name for each in problem.suppliers if each.code == order.supplier),
        "order_on": order.order_on.isoformat(),
        "goods": order.goods,
        "freight": order.freight,
        "handling": order.handling,
        "lines": [_line(problem, plan, order, line, offers) for line in order.lines],
    }


def _line(
    problem: BuyProblem,
    plan: PricedPlan,
    order: PlannedOrder,
    line: BuyLine,
    offers: Mapping[str, Offer],
) -> dict[str, Any]:
    offer = offers[line.offer]
    order_by = latest_order_date(problem, plan, line)
    return {
        "offer": line.offer,
        "revision": offer.revision,
        "material": line.material,
        "name": offer.material.name,
        "counted": offer.material.counted,
        "pack_written": offer.pack_written,
        "packs": line.packs,
        "amount": line.amount,
        "pack_price": line.pack_price,
        "price": line.price,
        "arrives_on": line.arrives_on.isoformat(),
        "order_by": None if order_by is None else order_by.isoformat(),
        "reason": reason(problem, plan, order, line, money=written_money),
    }


def _short(order: PlannedOrder) -> dict[str, Any]:
    return {
        "supplier": order.supplier,
        "order_on": order.order_on.isoformat(),
        "lines": [{"offer": line.offer, "packs": line.packs} for line in order.lines],
    }


def _unmet(unmet: UnmetNeed, material: WantedMaterial) -> dict[str, Any]:
    obstacles = [{"code": each.code, "message": each.message} for each in unmet.obstacles]
    return {**_need(unmet.need, material), "obstacles": obstacles}


def _late(late: LateNeed, material: WantedMaterial) -> dict[str, Any]:
    return {
        **_need(late.need, material),
        "earliest": late.earliest.isoformat(),
        "order_by": late.order_by.isoformat(),
        "offer": late.offer,
    }


def _need(need: Need, material: WantedMaterial) -> dict[str, Any]:
    return {
        "material": material.code,
        "name": material.name,
        "counted": material.counted,
        "amount": need.amount,
        "due": (need.order_on or need.due).isoformat(),
        "why": need.why,
    }
