"""Why a plan buys what it buys, and what it cannot meet in time: words that numbers bear out."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction

from inventory.domain.buying.model import usable_offers
from inventory.domain.buying.plan import (
    BuyLine,
    BuyProblem,
    Need,
    OpenOffer,
    PlannedOrder,
    PricedPlan,
    WantedMaterial,
)
from inventory.domain.catalog.packs import friendly_amount, pack_price


@dataclass(frozen=True, slots=True, kw_only=True)
class LateNeed:
    """A need that the quickest offer meets only on `earliest`; it had to be ordered by `order_by`.

    The quickest offer is `offer`, by its code.
    """

    need: Need
    earliest: date
    order_by: date
    offer: str


def postpone_late(problem: BuyProblem) -> tuple[BuyProblem, tuple[LateNeed, ...]]:
    """The problem with each late need due when the quickest offer comes, and those needs.

    A need that no usable offer is for stays as it is, and one to be ordered on a day is never late:
    it may come with the slowest of that day's offers within the horizon. The horizon follows the
    last need.
    """
    late: list[LateNeed] = []
    needs: list[Need] = []
    for asked in problem.needs:
        need = _ordered_at_once(problem, asked)
        if need.order_on is not None:
            needs.append(need)
            continue
        quickest = min(
            (
                (offer.arrives(day), day, offer)
                for offer in usable_offers(problem)
                for day in problem.order_dates
                if offer.material == need.material and offer.holds_on(day)
            ),
            key=lambda each: (each[0], each[1], each[2].code),
            default=None,
        )
        if quickest is None or quickest[0] <= need.due:
            needs.append(need)
            continue
        earliest, _, offer = quickest
        order_by = need.due - (offer.arrives(problem.order_dates[0]) - problem.order_dates[0])
        late.append(LateNeed(need=need, earliest=earliest, order_by=order_by, offer=offer.code))
        needs.append(replace(need, due=earliest))
    horizon = max([problem.horizon, *(need.due for need in needs)])
    return replace(problem, needs=tuple(needs), horizon=horizon), tuple(late)


def _ordered_at_once(problem: BuyProblem, need: Need) -> Need:
    """The need due when the slowest usual offer ordered on its day comes; any other as it is.

    One that no offer of its day is for is an ordinary need from then on.
    """
    day = need.order_on
    if day is None:
        return need
    arrivals = [
        offer.arrives(day)
        for offer in usable_offers(problem)
        if offer.material == need.material and offer.holds_on(day)
    ]
    if day not in problem.order_dates or not arrivals:
        return replace(need, order_on=None)
    latest = max(problem.horizon, min(arrivals))
    return replace(need, due=max(come for come in arrivals if come <= latest))


Money = Callable[[int], str]


def served_needs(problem: BuyProblem, plan: PricedPlan, line: BuyLine) -> list[Need]:
    """The needs of the line's material that would not be met by their days without the line, those
    that are ordered on a day by what is ordered on it."""
    others = [
        (order.order_on, each)
        for order, each in plan.lines
        if each.material == line.material and each != line
    ]
    served, total, at_once = [], 0, 0
    wanted = [need for _, need in problem.to_meet if need.material == line.material]
    for need in sorted(wanted, key=lambda each: each.due):
        total += need.amount
        if need.order_on is None:
            met = sum(each.amount for _, each in others if each.arrives_on <= need.due) >= total
        else:
            at_once += need.amount
            met = sum(each.amount for day, each in others if day == need.order_on) >= at_once
        if not met:
            served.append(need)
    return served


def latest_order_date(problem: BuyProblem, plan: PricedPlan, line: BuyLine) -> date | None:
    """The last day on which the line could be ordered and still come for what it is needed for.

    None when every need would be met without it (it is bought for the order it belongs to).
    """
    served = served_needs(problem, plan, line)
    if not served:
        return None
    offer = next(each for each in problem.offers if each.code == line.offer)
    lead = timedelta(days=offer.lead_days)
    return min(need.order_on or need.due - lead for need in served)


def reason(
    problem: BuyProblem, plan: PricedPlan, order: PlannedOrder, line: BuyLine, *, money: Money
) -> str:
    """What the line is for, why this offer, and what is left over. `money` writes an amount."""
    material = next(each for each in problem.materials if each.code == line.material)
    served = served_needs(problem, plan, line)
    parts = [_purpose(material, served), _choice(problem, plan, order, line, served, money=money)]
    offer = next(each for each in problem.offers if each.code == line.offer)
    if line.pack_price < offer.price:
        parts.append(
            f"{line.packs} packs reach the price of {money(line.pack_price)} instead of "
            f"{money(offer.price)} a pack."
        )
    come = sum(each.amount for _, each in plan.lines if each.material == line.material)
    needed = sum(need.amount for _, need in problem.to_meet if need.material == line.material)
    if come > needed:
        over = friendly_amount(come - needed, counted=material.counted)
        parts.append(f"Whole packs leave {over} over.")
    return " ".join(parts)


def _purpose(material: WantedMaterial, served: Sequence[Need]) -> str:
    if not served:
        return f"{material.name} beyond its needs: it brings the order to a better price."
    amount = friendly_amount(sum(need.amount for need in served), counted=material.counted)
    dated = [need.due for need in served if need.order_on is None]
    if not dated:
        return f"{amount} of {material.name} are due to be ordered: its reorder point is reached."
    return f"{amount} of {material.name} are needed, the first by {dated[0]}."


def _choice(
    problem: BuyProblem,
    plan: PricedPlan,
    order: PlannedOrder,
    line: BuyLine,
    served: Sequence[Need],
    *,
    money: Money,
) -> str:
    """Why this offer and not the one that is cheapest by the unit."""
    offers = [each for each in usable_offers(problem) if each.material == line.material]
    due = served[0].due if served else problem.horizon
    others = [each for each in offers if each.code != line.offer and each.holds_on(order.order_on)]
    in_time = [each for each in others if each.arrives(order.order_on) <= due]
    late = sorted(each.code for each in others if each not in in_time)
    too_late = f" {', '.join(late)} would come too late." if late else ""
    if not in_time:
        return f"The only offer that comes in time.{too_late}"
    own = Fraction(line.price, line.amount)
    rival = min(in_time, key=lambda each: (_unit_price(each, line.amount), each.code))
    if own <= _unit_price(rival, line.amount):
        count = len(in_time) + 1
        return f"The lowest price for the amount of the {count} offers that come in time.{too_late}"
    packs = _packs_for(rival, line.amount)
    whole = packs * pack_price(packs, price=rival.price, breaks=rival.breaks)
    if whole >= line.price:
        return (
            f"{rival.code} is cheaper by the unit, but {packs} whole packs of it cost "
            f"{money(whole)}, no less than {money(line.price)}.{too_late}"
        )
    if rival.supplier not in {each.supplier for each in plan.orders}:
        return (
            f"{rival.code} alone would be {money(line.price - whole)} cheaper, but its supplier "
            f"gets no order here: what an order costs would come on top.{too_late}"
        )
    return (
        f"{rival.code} alone would be {money(line.price - whole)} cheaper, but the plan as a "
        f"whole is cheaper, or only possible, this way.{too_late}"
    )


def _packs_for(offer: OpenOffer, amount: int) -> int:
    return max(offer.minimum_packs, -(-amount // offer.pack))


def _unit_price(offer: OpenOffer, amount: int) -> Fraction:
    """The price of one stock unit when about this amount is bought in whole packs."""
    price = pack_price(_packs_for(offer, amount), price=offer.price, breaks=offer.breaks)
    return Fraction(price, offer.pack)
