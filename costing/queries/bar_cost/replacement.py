"""Today's offers as the rules of replacement see them, and needs through what is made here."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING

from costing.domain.bar_cost.conversion import Making, conversion_of, work_of
from costing.domain.bar_cost.replacement import (
    OfferTerms,
    SupplierTerms,
    last_paid,
    purchases_for,
)
from costing.domain.rates.rates import RateKind, Rates
from costing.queries.bar_cost.not_known import lots_not_known
from inventory.queries.catalog.offers import current_offers
from inventory.queries.stock.last_paid import last_paid_for
from inventory.queries.stock.on_hand import held_on_average
from recipes.domain.levels.explosion import making_order
from recipes.queries.levels.explosion import Production, maker_of, production_below
from recipes.queries.scaling.plans import Plan
from studio.foundation.errors import Refusal
from studio.foundation.money import split

if TYPE_CHECKING:
    from inventory.models.catalog.suppliers import Offer

AVERAGE = "average"


@dataclass(frozen=True, slots=True, kw_only=True)
class Replaced:
    """Needs at today's offers, by the material that was needed.

    A blend that is made here costs its parts and its making. `sources` are codes of offers.
    `missing` are amounts that nobody offers and nobody ever bought, of needed materials or of parts
    of blends, `paid` the days on which those were last bought that nobody offers, `missed` the
    rates that the making of blends waits for, by the need: what costs of these say is too low, also
    without any where it waits for minutes alone (`untold`).
    `lacking` are the needs that something missing is for.
    """

    costs: Mapping[int, int]
    sources: Mapping[int, str]
    missing: Mapping[int, int]
    paid: Mapping[int, date] = field(default_factory=dict)
    missed: Mapping[int, tuple[RateKind, ...]] = field(default_factory=dict)
    untold: bool = False
    lacking: frozenset[int] = frozenset()

    @property
    def total(self) -> int:
        """The cost of all that has a price."""
        return sum(self.costs.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenApart:
    """What to buy, by material and by the need it is for, and the blends to make for them."""

    bought: Mapping[int, Mapping[int, int]]
    makings: tuple[Making, ...]


def offers_of_day(materials: Iterable[int], *, on: date) -> dict[int, list[OfferTerms]]:
    """The offers that hold on a day, by material id; what was last paid where there is none.

    One query, and one more where something is not offered.
    """
    wanted = list(materials)
    found: dict[int, list[OfferTerms]] = defaultdict(list)
    rows = current_offers(on).filter(material__in=wanted).select_related("supplier")
    for offer in rows.order_by("id"):
        found[offer.material_id].append(_terms(offer))
    if without := [pk for pk in wanted if pk not in found]:
        for pk, paid in last_paid_for(without, on=on).items():
            found[pk].append(last_paid(pk, amount=paid.amount, cost=paid.cost, on=paid.on))
    return dict(found)


def bought_in(production: Production) -> set[int]:
    """Of what is needed (material ids), what is not made here. No query."""
    return production.materials.keys() - production.makers.keys()


def paid_days(needs: Iterable[int], offers: Mapping[int, Sequence[OfferTerms]]) -> dict[int, date]:
    """Of needs (material ids), those that nobody offers, and when they were last bought."""
    return {
        pk: each.paid_on for pk in needs for each in offers.get(pk, ()) if each.paid_on is not None
    }


def paid_note(paid: Mapping[str, date], *, on: date) -> str:
    """In words, which materials (by name) stand at what was last paid; empty when none does."""
    if not paid:
        return ""
    names = ", ".join(f"{name} ({day})" for name, day in sorted(paid.items()))
    return f"Not offered on {on}, so the last price paid stands in: {names}."


def replaced(
    needs: Mapping[int, int],
    production: Production,
    offers: Mapping[int, Sequence[OfferTerms]],
    *,
    rates: Rates,
) -> Replaced:
    """What needs would cost today: bought with their freight, or made here of what is bought.

    A blend is made in one batch of what is needed or of the least worth making, whichever is more;
    the need bears its part of that batch's materials, labor (its recipe's minutes) and overhead.
    Offers are by material id, of all in `production`. No query. Raises ProductionCycle,
    ScalingRefusal, CostNotKnown.
    """
    apart = taken_apart(needs, production)
    bought = apart.bought
    found = purchases_for({pk: sum(tops.values()) for pk, tops in bought.items()}, offers)
    costs: dict[int, int] = {}
    missed: dict[int, tuple[RateKind, ...]] = {}
    made = [(making, conversion_of(making.work, rates)) for making in apart.makings]
    for making, cost in made:
        costs[making.need] = costs.get(making.need, 0) + making.part(cost)
        if cost.unknown:
            missed[making.need] = (*missed.get(making.need, ()), *cost.missed)
    sources: dict[int, list[str]] = defaultdict(list)
    for pk, line in found.lines.items():
        tops = bought[pk]
        for top, part in zip(tops, split(line.cost, list(tops.values())), strict=True):
            costs[top] = costs.get(top, 0) + part
            sources[top].append(line.offer.code)
    return Replaced(
        costs=costs,
        sources={top: ", ".join(codes) for top, codes in sources.items()},
        missing={pk: sum(bought[pk].values()) for pk in found.missing},
        paid=paid_days(found.lines, offers),
        missed=missed,
        untold=any(cost.untold for _, cost in made),
        lacking=frozenset(top for pk in found.missing for top in bought[pk]),
    )


def taken_apart(needs: Mapping[int, int], production: Production) -> TakenApart:
    """Needs with the blends that are made here taken apart, level by level. No query.

    A blend is made as `replaced` says. Raises ProductionCycle, ScalingRefusal.
    """
    left: dict[int, dict[int, int]] = {pk: {pk: need} for pk, need in needs.items() if need}
    makings: list[Making] = []
    for pk in making_order(production.made_of, list(left)):
        maker = production.makers.get(pk)
        if maker is None or pk not in left:
            continue
        tops = left.pop(pk)
        sized = maker_of(maker).size(sum(tops.values()))
        work = work_of(None, bars=0, is_blend=True, minutes=maker.version.minutes, rack_days=0)
        for top, wanted in tops.items():
            makings.append(Making(need=top, work=work, wanted=wanted, output=sized.output))
            for part, amount in sized.needs.items():
                below = left.setdefault(part, {})
                below[top] = below.get(top, 0) + round(Fraction(amount * wanted, sized.output))
    return TakenApart(bought=left, makings=tuple(makings))


def _terms(offer: "Offer") -> OfferTerms:
    supplier = offer.supplier
    return OfferTerms(
        id=offer.pk,
        code=offer.code,
        supplier=SupplierTerms(
            id=supplier.pk,
            freight=supplier.freight,
            free_freight_from=supplier.free_freight_from,
        ),
        pack_amount=offer.pack_amount,
        price=offer.price,
        breaks=offer.breaks,
        minimum_packs=offer.minimum_packs,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedCost:
    """What a plan's need of a material is expected to cost, and from what that is known."""

    cost: int | None
    source: str


def expected_costs(plan: Plan, *, on: date, rates: Rates) -> Mapping[int, ExpectedCost]:
    """The expected cost of each need of a plan, by material id.

    What is held counts at its average; what is not, at today's offers
    (`costing.domain.bar_cost.replacement` says how) or, for a blend, at what making it takes. None
    where nobody knows. Two queries where all is held, else two or three more and two for each level
    of blends.
    """
    held = held_on_average(plan.needs, on=on)
    for pk in lots_not_known().materials:
        held.pop(pk, None)
    found = {
        pk: ExpectedCost(cost=held[pk].cost_of(need), source=AVERAGE)
        for pk, need in plan.needs.items()
        if pk in held
    }
    left = {pk: need for pk, need in plan.needs.items() if pk not in held}
    if not left:
        return found
    production = production_below(plan.materials[pk] for pk in left)
    offers = offers_of_day(bought_in(production), on=on)
    try:
        bought = replaced(left, production, offers, rates=rates)
    except Refusal:  # a price that cannot be worked out keeps nobody from planning
        bought = Replaced(costs={}, sources={}, missing=left, lacking=frozenset(left))
    unknown = bought.lacking | bought.missed.keys()
    for pk in left:
        known = pk in bought.costs and pk not in unknown
        found[pk] = ExpectedCost(
            cost=bought.costs[pk] if known else None,
            source=bought.sources.get(pk, "") if known else "",
        )
    return found
