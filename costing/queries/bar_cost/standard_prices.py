"""The prices that plans are held against: what each material is expected to cost on a day."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from costing.domain.rates.rates import Rates
from costing.queries.bar_cost.replacement import Replaced, offers_of_day, replaced
from inventory.queries.stock.on_hand import held_on_average
from recipes.queries.levels.explosion import production_below
from recipes.queries.scaling.plans import Plan
from studio.foundation.errors import Refusal

AVERAGE = "average"


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
