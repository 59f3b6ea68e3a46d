"""Buy plans: made from what runs short, kept with their proof, and turned into draft orders."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from django.db import transaction

from inventory.domain.buying.plan import (
    BuyLine,
    BuyProblem,
    BuyRules,
    Need,
    PlannedOrder,
    PricedPlan,
    Solution,
    UnmetNeed,
    WantedMaterial,
)
from inventory.domain.buying.plan_words import LateNeed, latest_order_date, postpone_late, reason
from inventory.domain.buying.solve import solve
from inventory.errors import MaterialRefusal
from inventory.models.buying.orders import BuyPlan, PurchaseOrder
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.queries.buying.plan_inputs import BuyScope, buy_problem
from inventory.services.buying.orders import Ordered, OrderedLine, draft_order
from studio.foundation.doers import By
from studio.foundation.errors import Faults, NotFound, StateConflict
from studio.foundation.local_words import written_money
from studio.foundation.money import MAX_MONEY
from studio.work.numbering import next_code


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


LONGEST_DAYS = 365
MOST_ROUNDS = 6
MOST_SECONDS = 60
#: What finding a plan goes through: read what runs short and is offered, solve, check in integers.
STEPS = ("read", "solve", "check")


@dataclass(frozen=True, slots=True, kw_only=True)
class BuyOptions:
    """How to plan: for what runs short within `days`; `blocked` are codes of suppliers.

    Orders may be placed on the first day and on `rounds` - 1 later ones, `days_between` apart.
    `budget` (ten-thousandths) caps goods, freight and handling. `seconds` is the time limit of
    each question asked of the solver.
    """

    days: int = 30
    rounds: int = 1
    days_between: int = 7
    budget: int | None = None
    single_source: bool = False
    blocked: Sequence[str] = ()
    keep_to_space: bool = True
    keep_to_shelf_life: bool = True
    seconds: int = 20


def make_plan(options: BuyOptions, *, on: date, by: By = None) -> BuyPlan:
    """Find the cheapest plan for what runs short from a day on, and keep it.

    No transaction is open while the solver computes. Raises MaterialRefusal for options that cannot
    be, InvalidInput when amounts or costs are too large to be planned exactly.
    """
    found = find_plan(options, on=on)
    return keep_plan(options, found, on=on, by_id=by.pk if by else None)


def find_plan(
    options: BuyOptions, *, on: date, said: Callable[[str], None] = lambda step: None
) -> dict[str, Any]:
    """The same without keeping it; `said` is told each of `STEPS` as it begins."""
    check_options(options)
    said("read")
    dates = tuple(
        day
        for number in range(options.rounds)
        if (day := on + timedelta(days=number * options.days_between))
        <= on + timedelta(days=options.days)
    )
    rules = BuyRules(
        budget=options.budget,
        single_source=options.single_source,
        blocked=frozenset(options.blocked),
        keep_to_space=options.keep_to_space,
        keep_to_shelf_life=options.keep_to_shelf_life,
    )
    scope = BuyScope(on=on, days=options.days, order_dates=dates, rules=rules)
    asked, offers = buy_problem(scope)
    problem, late = postpone_late(asked)
    said("solve")
    solution = solve(problem, time_limit=options.seconds)
    said("check")
    return record(problem, solution, late, offers)


@transaction.atomic
def keep_plan(
    options: BuyOptions, found: dict[str, Any], *, on: date, by_id: int | None
) -> BuyPlan:
    """Keep a plan that was found."""
    return BuyPlan.objects.create(
        code=next_code("BP"), made_on=on, options=plain_options(options), found=found, by_id=by_id
    )


@transaction.atomic
def order_plan(code: str, *, by: By = None) -> list[PurchaseOrder]:
    """Draft the orders of a plan, once, at the prices it was made with.

    Raises NotFound; StateConflict when orders were made of it, when it buys nothing, or when an
    offer was changed since; MaterialRefusal when an order cannot be written.
    """
    try:
        plan = BuyPlan.objects.select_for_update().get(code=code)
    except BuyPlan.DoesNotExist:
        raise NotFound(f"There is no buy plan {code}.") from None
    if plan.state != BuyPlan.State.OPEN:
        raise StateConflict(f"Orders of buy plan {code} were made already.")
    orders = plan.found["orders"]
    if not orders:
        raise StateConflict(f"Buy plan {code} buys nothing.")
    _check_offers(code, orders)
    drafts = [
        draft_order(
            Ordered(
                supplier=order["supplier"],
                ordered_on=date.fromisoformat(order["order_on"]),
                lines=[
                    OrderedLine(offer=line["offer"], packs=line["packs"], price=line["price"])
                    for line in order["lines"]
                ],
            ),
            plan=plan,
            by=by,
        )
        for order in orders
    ]
    plan.state = BuyPlan.State.ORDERED
    plan.save(update_fields=["state"])
    return drafts


def _check_offers(code: str, orders: Sequence[Mapping[str, Any]]) -> None:
    """Refuse a plan whose offers are no longer what it was made from."""
    planned = {line["offer"]: line["revision"] for order in orders for line in order["lines"]}
    now = dict(Offer.objects.filter(code__in=planned).values_list("code", "revision"))
    changed = sorted(offer for offer, revision in planned.items() if now.get(offer) != revision)
    if changed:
        raise StateConflict(
            f"Since buy plan {code} was made, these offers were changed: {', '.join(changed)}. "
            "Make a new plan."
        )


def check_options(options: BuyOptions) -> None:
    """Refuse options that cannot be, with every fault. Raises MaterialRefusal. One query."""
    faults = Faults()
    ranges = {
        "days": (1, LONGEST_DAYS),
        "rounds": (1, MOST_ROUNDS),
        "days_between": (1, LONGEST_DAYS),
        "seconds": (1, MOST_SECONDS),
    }
    for name, (least, most) in ranges.items():
        if not least <= getattr(options, name) <= most:
            faults.add("out-of-range", f"This is from {least} to {most}.", name)
    if options.budget is not None and not 0 <= options.budget <= MAX_MONEY:
        faults.add("out-of-range", "A budget is not below zero, nor too large.", "budget")
    blocked = set(options.blocked)
    known = set(Supplier.objects.filter(code__in=blocked).values_list("code", flat=True))
    for code in sorted(blocked - known):
        faults.add("not-found", f"There is no supplier {code}.", "blocked")
    faults.raise_if_any(MaterialRefusal)


def plain_options(options: BuyOptions) -> dict[str, Any]:
    """Options as JSON holds them."""
    return {
        name: list(value) if name == "blocked" else value
        for name in BuyOptions.__slots__
        for value in [getattr(options, name)]
    }
