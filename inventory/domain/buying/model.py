"""The buy plan as a mixed-integer program: its columns and rows, each with what it stands for.

For every offer and order date: packs (whole) at each of its prices, and whether that price is the
one paid (all-units discounts: Hadley and Whitin (1963), section 2-11; as a program with one binary
a price, a usual formulation). For every supplier and order date: whether an order is placed, and
whether its goods are worth enough to come free of freight. What comes until a day must be at least
the sum of the needs until then.
"""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum

from inventory.domain.buying.integer_program import Program
from inventory.domain.buying.plan import (
    BuyProblem,
    Need,
    OfferingSupplier,
    OpenOffer,
    WantedMaterial,
)
from inventory.domain.buying.plan_cost import keeping_cost, used_credit


class CapKind(StrEnum):
    """Why no more may come."""

    SPACE = "space"
    SHELF_LIFE = "shelf-life"


@dataclass(frozen=True, slots=True)
class Cap:
    """By the end of a day no more than `most` stock units may have come."""

    day: date
    most: int
    kind: CapKind


def caps_of(problem: BuyProblem) -> dict[str, tuple[Cap, ...]]:
    """The caps of each material that is needed, on each day on which something may come."""
    days: dict[str, set[date]] = defaultdict(set)
    for offer in problem.offers:
        last = problem.last_due(offer.material)
        if last is not None:
            days[offer.material].update(
                comes for day in problem.order_dates if (comes := offer.arrives(day)) <= last
            )
    found = {}
    for material in problem.materials:
        arrivals = sorted(days[material.code])
        if arrivals:
            found[material.code] = tuple(_caps(problem, material, arrivals))
    return found


def most_used_by(problem: BuyProblem, material: WantedMaterial, day: date) -> int | None:
    """The most that can be used until the end of a day of what the plan buys; None: not known.

    The larger of what is needed until then and what is expected to be used, less what is there
    already: known needs are part of the expected use, not beside it.
    """
    if material.use_per_day is None:
        return None
    first = problem.order_dates[0]
    needed = sum(need.amount for need in problem.needs_of(material.code) if need.due <= day)
    used = math.floor(material.use_per_day * (day - first).days)
    return max(needed, used - max(0, material.stock_on(first)))


def _caps(problem: BuyProblem, material: WantedMaterial, arrivals: list[date]) -> list[Cap]:
    caps = []
    if problem.rules.keep_to_space and material.space is not None:
        days = {*arrivals, *(step.day for step in material.stock if step.day >= arrivals[0])}
        for day in sorted(days):
            room = max(0, material.space - material.stock_on(day))
            caps.append(Cap(day, room, CapKind.SPACE))
    if problem.rules.keep_to_shelf_life and material.keeps_days is not None:
        for day in arrivals:
            # First come, first used: what has come by a day must be used before that day's best
            # before, and in the order of coming nothing else is used first.
            until = day + timedelta(days=material.keeps_days)
            most = most_used_by(problem, material, until)
            if most is not None:
                caps.append(Cap(day, most, CapKind.SHELF_LIFE))
    return caps


At = tuple[str, date]


@dataclass(frozen=True, slots=True)
class PackColumn:
    """The packs of one offer in one order at one price."""

    offer: OpenOffer
    day: date
    price: int
    column: int

    @property
    def arrives(self) -> date:
        return self.offer.arrives(self.day)


@dataclass(slots=True)
class BuyModel:
    """A program with what its columns stand for; `unmet` by the index of the need."""

    program: Program = field(default_factory=Program)
    packs: list[PackColumn] = field(default_factory=list)
    unmet: dict[int, int] = field(default_factory=dict)
    _orders: dict[At, int] = field(default_factory=dict)
    _free: dict[At, int] = field(default_factory=dict)

    def packs_in(self, values: tuple[int, ...]) -> dict[At, int]:
        """The packs that an answer buys, by offer and order date."""
        found: dict[At, int] = defaultdict(int)
        for each in self.packs:
            if values[each.column]:
                found[each.offer.code, each.day] += values[each.column]
        return dict(found)

    def forbid(self, bought: Mapping[At, int]) -> None:
        """Require another number of packs of at least one offer, over all order dates."""
        columns: dict[str, list[int]] = defaultdict(list)
        totals: dict[str, int] = defaultdict(int)
        for each in self.packs:
            columns[each.offer.code].append(each.column)
        for (code, _), count in bought.items():
            totals[code] += count
        other: dict[int, int] = {}
        program = self.program
        for code, own in columns.items():
            packs, total = dict.fromkeys(own, 1), totals[code]
            most = sum(program.upper(column) for column in own)
            if total < most:
                more = program.column()
                program.at_least({**packs, more: -(total + 1)}, 0)
                other[more] = 1
            if total > 0:
                fewer = program.column()
                program.at_most({**packs, fewer: most - total + 1}, most)
                other[fewer] = 1
        program.at_least(other, 1)


def build_model(problem: BuyProblem, *, counting_unmet: bool = False) -> BuyModel:
    """The program of a problem. With `counting_unmet` needs may be left unmet, and the number of
    those is what is made smallest, whatever the rest costs."""
    model = BuyModel()
    caps = caps_of(problem)
    if not counting_unmet:
        model.program.constant = -used_credit(problem)
    for supplier in problem.suppliers:
        _add_orders(model, problem, supplier, costs=not counting_unmet)
    for offer in usable_offers(problem):
        cap = caps.get(offer.material, ())
        for day in problem.order_dates:
            if comes_in_time(problem, offer, day):
                _add_packs(model, problem, offer, day, caps=cap, costs=not counting_unmet)
    _bind_orders(model, problem)
    _cover_needs(model, problem, counting_unmet=counting_unmet)
    for material, found in caps.items():
        for cap_ in found:
            model.program.at_most(_come_by(model, material, cap_.day), cap_.most)
    if problem.rules.single_source:
        _bind_single_source(model, problem)
    if problem.rules.budget is not None:
        model.program.at_most(_paid(model, problem), problem.rules.budget)
    return model


def usable_offers(problem: BuyProblem) -> list[OpenOffer]:
    """Offers of suppliers that are known and not blocked."""
    known = {supplier.code for supplier in problem.suppliers} - problem.rules.blocked
    return [offer for offer in problem.offers if offer.supplier in known]


def comes_in_time(problem: BuyProblem, offer: OpenOffer, day: date) -> bool:
    """Whether an offer ordered on a day holds then and comes before its material's last need."""
    last = problem.last_due(offer.material)
    return last is not None and offer.holds_on(day) and offer.arrives(day) <= last


def _add_orders(
    model: BuyModel, problem: BuyProblem, supplier: OfferingSupplier, *, costs: bool
) -> None:
    for day in problem.order_dates:
        at = (supplier.code, day)
        cost = supplier.handling + supplier.freight
        model._orders[at] = model.program.column(cost=cost if costs else 0)
        if supplier.freight and supplier.free_freight_from is not None:
            saved = -supplier.freight if costs else 0
            model._free[at] = free = model.program.column(cost=saved)
            model.program.at_least({model._orders[at]: 1, free: -1}, 0)


def _add_packs(
    model: BuyModel,
    problem: BuyProblem,
    offer: OpenOffer,
    day: date,
    *,
    caps: tuple[Cap, ...],
    costs: bool,
) -> None:
    """Packs at each price, at most one of which is paid, and only in an order that is placed."""
    program, order = model.program, model._orders[offer.supplier, day]
    keeping = keeping_cost(
        next(m for m in problem.materials if m.code == offer.material),
        offer.pack,
        come=offer.arrives(day),
        until=problem.horizon,
    )
    later = [cap for cap in caps if cap.day >= offer.arrives(day)]
    most = _most_packs(problem, offer, later)
    prices = _prices(offer, most)
    paid: dict[int, int] = {}
    for first, last, price in prices:
        packs = program.column(cost=price + keeping if costs else 0, upper=last)
        model.packs.append(PackColumn(offer, day, price, packs))
        if first == 1 and len(prices) == 1:
            program.at_least({order: last, packs: -1}, 0)
            continue
        chosen = program.column()
        program.at_least({packs: 1, chosen: -first}, 0)
        program.at_least({chosen: last, packs: -1}, 0)
        paid[chosen] = -1
    if paid:
        program.at_least({order: 1, **paid}, 0)


def _prices(offer: OpenOffer, most: int) -> list[tuple[int, int, int]]:
    """(fewest packs, most packs, price of each) for each price that can be paid."""
    starts = [(1, offer.price), *((each.from_packs, each.price) for each in offer.breaks)]
    ends = [start - 1 for start, _ in starts[1:]] + [most]
    ranges = (
        (max(start, offer.minimum_packs), min(end, most), price)
        for (start, price), end in zip(starts, ends, strict=True)
    )
    return [each for each in ranges if each[0] <= each[1]]


def _most_packs(problem: BuyProblem, offer: OpenOffer, caps: Sequence[Cap]) -> int:
    """A number of packs beyond which one pack less is never dearer and breaks no rule.

    So many meet all needs, reach the lowest price, the supplier's minimum and free freight by
    themselves; one more leaves room for the second best plan. Never more than the caps leave.
    """
    total = sum(need.amount for need in problem.needs if need.material == offer.material)
    supplier = next(s for s in problem.suppliers if s.code == offer.supplier)
    lowest = offer.breaks[-1].price if offer.breaks else offer.price
    most = max(
        -(-total // offer.pack),
        offer.minimum_packs,
        offer.breaks[-1].from_packs if offer.breaks else 1,
    )
    if lowest > 0:
        worth = max(supplier.minimum_order, supplier.free_freight_from or 0)
        most = max(most, -(-worth // lowest))
    room = (cap.most // offer.pack for cap in caps)
    return min([most + 1, *room])


def _bind_orders(model: BuyModel, problem: BuyProblem) -> None:
    """A supplier's minimum order, and what the goods must be worth to come free of freight."""
    goods: dict[At, dict[int, int]] = defaultdict(dict)
    for each in model.packs:
        goods[each.offer.supplier, each.day][each.column] = each.price
    for supplier in problem.suppliers:
        for day in problem.order_dates:
            at = (supplier.code, day)
            if supplier.minimum_order:
                terms = {**goods[at], model._orders[at]: -supplier.minimum_order}
                model.program.at_least(terms, 0)
            if at in model._free:
                terms = {**goods[at], model._free[at]: -(supplier.free_freight_from or 0)}
                model.program.at_least(terms, 0)


def _cover_needs(model: BuyModel, problem: BuyProblem, *, counting_unmet: bool) -> None:
    numbered: dict[str, list[tuple[int, Need]]] = defaultdict(list)
    for index, need in problem.to_meet:
        numbered[need.material].append((index, need))
        if counting_unmet:
            model.unmet[index] = model.program.column(cost=1)
    for material, needs in numbered.items():
        for due in sorted({need.due for _, need in needs}):
            terms = _come_by(model, material, due)
            until = [(index, need) for index, need in needs if need.due <= due]
            for index, need in until:
                if counting_unmet:
                    terms[model.unmet[index]] = need.amount
            model.program.at_least(terms, sum(need.amount for _, need in until))
        _order_at_once(model, material, [(n, need) for n, need in needs if need.order_on])


def _order_at_once(model: BuyModel, material: str, needs: Sequence[tuple[int, Need]]) -> None:
    """What is to be ordered on a day is ordered on it, or left unmet."""
    for day in {need.order_on for _, need in needs}:
        own = [(index, need) for index, need in needs if need.order_on == day]
        terms = {
            each.column: each.offer.pack
            for each in model.packs
            if each.offer.material == material and each.day == day
        }
        terms |= {model.unmet[n]: need.amount for n, need in own if n in model.unmet}
        model.program.at_least(terms, sum(need.amount for _, need in own))


def _come_by(model: BuyModel, material: str, day: date) -> dict[int, int]:
    """What has come of a material by the end of a day."""
    return {
        each.column: each.offer.pack
        for each in model.packs
        if each.offer.material == material and each.arrives <= day
    }


def _bind_single_source(model: BuyModel, problem: BuyProblem) -> None:
    """Each material is bought from one supplier at most."""
    for material in {need.material: None for need in problem.needs}:
        own = [each for each in model.packs if each.offer.material == material]
        chosen = {code: model.program.column() for code in {each.offer.supplier for each in own}}
        for each in own:
            terms = {
                chosen[each.offer.supplier]: model.program.upper(each.column),
                each.column: -1,
            }
            model.program.at_least(terms, 0)
        if chosen:
            model.program.at_most(dict.fromkeys(chosen.values(), 1), 1)


def _paid(model: BuyModel, problem: BuyProblem) -> dict[int, int]:
    """Goods, freight and handling of all orders."""
    terms = {each.column: each.price for each in model.packs}
    suppliers = {supplier.code: supplier for supplier in problem.suppliers}
    for (code, _), column in model._orders.items():
        terms[column] = suppliers[code].handling + suppliers[code].freight
    for (code, _), column in model._free.items():
        terms[column] = -suppliers[code].freight
    return terms
