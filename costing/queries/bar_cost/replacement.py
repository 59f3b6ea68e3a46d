"""Today's offers as the rules of replacement see them, and needs through what is made here."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING

from costing.domain.bar_cost.conversion import SECONDS_PER_MINUTE, Making, Work
from costing.domain.bar_cost.replacement import OfferTerms, SupplierTerms, purchases_for
from costing.domain.rates.rates import Rates
from inventory.queries.catalog.offers import current_offers
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
    `missing` are amounts that nobody offers, of needed materials or of parts of blends.
    """

    costs: Mapping[int, int]
    sources: Mapping[int, str]
    missing: Mapping[int, int]

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
    """The offers that hold on a day, by material id. One query."""
    found: dict[int, list[OfferTerms]] = defaultdict(list)
    rows = current_offers(on).filter(material__in=list(materials)).select_related("supplier")
    for offer in rows.order_by("id"):
        found[offer.material_id].append(_terms(offer))
    return dict(found)


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
    for making in apart.makings:
        costs[making.need] = costs.get(making.need, 0) + making.cost(rates)
    sources: dict[int, list[str]] = defaultdict(list)
    for pk, line in found.lines.items():
        tops = bought[pk]
        for top, cost in zip(tops, split(line.cost, list(tops.values())), strict=True):
            costs[top] = costs.get(top, 0) + cost
            sources[top].append(line.offer.code)
    return Replaced(
        costs=costs,
        sources={top: ", ".join(codes) for top, codes in sources.items()},
        missing={pk: sum(bought[pk].values()) for pk in found.missing},
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
        work = Work(other=maker.version.minutes * SECONDS_PER_MINUTE)
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
    where nobody knows. One query where all is held, else two more and two for each level of blends.
    """
    held = held_on_average(plan.needs, on=on)
    found = {
        pk: ExpectedCost(cost=held[pk].cost_of(need), source=AVERAGE)
        for pk, need in plan.needs.items()
        if pk in held
    }
    left = {pk: need for pk, need in plan.needs.items() if pk not in held}
    if not left:
        return found
    production = production_below(plan.materials[pk] for pk in left)
    offers = offers_of_day(production.materials, on=on)
    try:
        bought = replaced(left, production, offers, rates=rates)
    except Refusal:  # a price that cannot be worked out keeps nobody from planning
        bought = Replaced(costs={}, sources={}, missing=left)
    below = {pk: _below(pk, production.made_of) for pk in left}
    for pk in left:
        known = pk in bought.costs and not below[pk] & bought.missing.keys()
        found[pk] = ExpectedCost(
            cost=bought.costs[pk] if known else None,
            source=bought.sources.get(pk, "") if known else "",
        )
    return found


def _below(top: int, made_of: Mapping[int, list[int]]) -> set[int]:
    """A material and all that it is made of."""
    found: set[int] = set()
    waiting = [top]
    while waiting:
        pk = waiting.pop()
        if pk not in found:
            found.add(pk)
            waiting.extend(made_of.get(pk, ()))
    return found
