"""Small buy problems drawn at random, and every plan there is for them, summed up independently."""

from collections import defaultdict
from datetime import date, timedelta
from fractions import Fraction
from itertools import product
from math import ceil, floor

from hypothesis import strategies as st

from inventory.domain.buying.plan import (
    BuyProblem,
    BuyRules,
    Need,
    OfferingSupplier,
    OpenOffer,
    StockStep,
    WantedMaterial,
)
from inventory.domain.catalog.packs import PriceBreak

DAY = date(2026, 3, 2)
MOST_PACKS = 6


def on(days: int) -> date:
    return DAY + timedelta(days=days)


def supplier(code="hill", **values) -> OfferingSupplier:
    return OfferingSupplier(code=code, name=code.capitalize(), **values)


def material(code="olive", **values) -> WantedMaterial:
    return WantedMaterial(code=code, name=code.capitalize(), **values)


def offer(code="olive-1", **values) -> OpenOffer:
    values = {"supplier": "hill", "material": "olive", "pack": 1, "price": 10, **values}
    values.setdefault("lead_days", 0)
    return OpenOffer(code=code, written=f"{values['pack']} kg", **values)


def problem(*, needs, offers, **values) -> BuyProblem:
    values.setdefault("suppliers", (supplier(),))
    values.setdefault("materials", (material(),))
    values.setdefault("order_dates", (DAY,))
    values.setdefault("horizon", max(need.due for need in needs))
    return BuyProblem(needs=tuple(needs), offers=tuple(offers), **values)


@st.composite
def breaks(draw, price):
    if draw(st.booleans()):
        return ()
    first = draw(st.integers(2, 4))
    steps = [PriceBreak(first, price - draw(st.integers(1, 6)))]
    if draw(st.booleans()):
        steps.append(PriceBreak(first + 1, steps[0].price - draw(st.integers(1, 4))))
    return tuple(steps)


@st.composite
def small_problems(draw):
    """Two materials, two suppliers and so few offers and dates that every plan can be tried.

    No plan that could be the best or the second best has more than MOST_PACKS of an offer in an
    order: fewer already meet the need, the lowest price, the smallest order and free freight.
    """
    dates = draw(st.sampled_from([(0,), (0,), (0, 4)]))
    suppliers = tuple(
        supplier(
            code,
            minimum_order=draw(st.sampled_from([0, 0, 50, 80])),
            handling=draw(st.integers(0, 15)),
            freight=draw(st.sampled_from([0, 10, 30])),
            free_freight_from=draw(st.sampled_from([None, 60, 90])),
        )
        for code in ("hill", "lake")
    )
    offers = []
    for number in range(draw(st.integers(1, 3 if len(dates) == 1 else 2))):
        price = draw(st.integers(30, 60))
        offers.append(
            offer(
                f"offer-{number}",
                supplier=draw(st.sampled_from(["hill", "lake"])),
                material=draw(st.sampled_from(["olive", "olive", "shea"])),
                pack=draw(st.integers(1, 3)),
                price=price,
                lead_days=draw(st.integers(0, 5)),
                minimum_packs=draw(st.sampled_from([1, 1, 2])),
                breaks=draw(breaks(price)),
            )
        )
    materials = tuple(
        material(
            code,
            keeps_days=draw(st.sampled_from([None, 3, 20])),
            use_per_day=draw(st.sampled_from([None, Fraction(1, 4), Fraction(1)])),
            space=draw(st.sampled_from([None, 4, 7])),
            stock=(StockStep(DAY, draw(st.integers(-1, 2))),),
            holding_per_day=draw(st.sampled_from([Fraction(0), Fraction(2), Fraction(3, 7)])),
        )
        for code in ("olive", "shea")
    )
    needs = draw(
        st.lists(
            st.builds(
                lambda m, a, d, at_once: Need(
                    material=m, amount=a, due=on(d), order_on=DAY if at_once else None
                ),
                st.sampled_from(["olive", "shea"]),
                st.integers(1, 2),
                st.integers(3, 9),
                st.sampled_from([False, False, True]),
            ),
            min_size=1,
            max_size=3,
        )
    )
    rules = BuyRules(
        budget=draw(st.sampled_from([None, None, 150, 250])),
        single_source=draw(st.booleans()),
        blocked=draw(st.sampled_from([frozenset(), frozenset({"lake"})])),
    )
    return problem(
        needs=needs,
        offers=offers,
        suppliers=suppliers,
        materials=materials,
        order_dates=tuple(on(day) for day in dates),
        horizon=on(12),
        rules=rules,
    )


def every_plan(asked):
    """(cost, packs by (offer, date)) of every plan that keeps all the rules."""
    places = [
        (each, day)
        for each in asked.offers
        for day in asked.order_dates
        if each.supplier not in asked.rules.blocked
        and any(n.material == each.material and each.arrives(day) <= n.due for n in asked.needs)
    ]
    for counts in product(range(MOST_PACKS + 1), repeat=len(places)):
        bought = [(each, day, n) for (each, day), n in zip(places, counts, strict=True) if n]
        cost = cost_if_allowed(asked, bought)
        if cost is not None:
            yield cost, {(each.code, day): n for each, day, n in bought}


def cost_if_allowed(asked, bought):
    if any(n < each.minimum_packs for each, _, n in bought) or not stock_allows(asked, bought):
        return None
    goods = defaultdict(int)
    sources = defaultdict(set)
    for each, day, n in bought:
        price = each.price
        for step in each.breaks:
            price = step.price if n >= step.from_packs else price
        goods[each.supplier, day] += n * price
        sources[each.material].add(each.supplier)
    if asked.rules.single_source and any(len(found) > 1 for found in sources.values()):
        return None
    paid = 0
    for (code, _), worth in goods.items():
        terms = next(s for s in asked.suppliers if s.code == code)
        if worth < terms.minimum_order:
            return None
        free = terms.free_freight_from is not None and worth >= terms.free_freight_from
        paid += worth + terms.handling + (0 if free else terms.freight)
    if asked.rules.budget is not None and paid > asked.rules.budget:
        return None
    return paid + holding(asked, bought)


def stock_allows(asked, bought):
    for kept in asked.materials:
        own = [(each.arrives(day), n * each.pack) for each, day, n in bought]
        own = [
            (day, amount)
            for (day, amount), (each, _, _) in zip(own, bought, strict=True)
            if each.material == kept.code
        ]
        needs = [need for need in asked.needs if need.material == kept.code]
        there = kept.stock[0].amount
        wanted = [need for _, need in asked.to_meet if need.material == kept.code]
        for need in wanted:
            come = sum(amount for day, amount in own if day <= need.due)
            if come < sum(other.amount for other in wanted if other.due <= need.due):
                return False
        at_once = sum(need.amount for need in wanted if need.order_on is not None)
        ordered = sum(n * e.pack for e, day, n in bought if e.material == kept.code and day == DAY)
        if ordered < at_once:
            return False
        for day, _ in own:
            come = sum(amount for other, amount in own if other <= day)
            if kept.space is not None and come > max(0, kept.space - there):
                return False
            if kept.keeps_days is not None and kept.use_per_day is not None:
                last = day + timedelta(days=kept.keeps_days)
                needed = sum(need.amount for need in needs if need.due <= last)
                used = floor(kept.use_per_day * (last - asked.order_dates[0]).days)
                if come > max(needed, used - max(0, there)):
                    return False
    return True


def holding(asked, bought):
    total = 0
    for kept in asked.materials:
        for each, day, n in bought:
            if each.material == kept.code:
                days = (asked.horizon - each.arrives(day)).days
                total += n * ceil(kept.holding_per_day * each.pack * days)
        for _, need in asked.to_meet:
            if need.material == kept.code and need.order_on is None:
                total -= floor(kept.holding_per_day * need.amount * (asked.horizon - need.due).days)
    return total
