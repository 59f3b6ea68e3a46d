"""What the materials of plans cost on each price basis, with all that is read read once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from costing.domain.pricing import PriceBasis
from costing.domain.rates import Rates
from costing.domain.replacement import OfferTerms
from costing.queries.replacement import offers_of_day, replaced
from inventory.domain.lots import MovingAverage, is_usable
from inventory.queries import held_on_average
from inventory.services.picking import lock_candidates, plan_picks, view_of
from recipes.queries.explosion import Production, production_below
from recipes.services.planning import Plan
from studio.money import share

if TYPE_CHECKING:
    from inventory.models import Lot, Material

NOTHING = Production({}, {})


@dataclass(slots=True)
class Priced:
    """Cost and source by material id, the amounts that have no price, and materials of blends."""

    costs: dict[int, int] = field(default_factory=dict)
    sources: dict[int, str] = field(default_factory=dict)
    unpriced: dict[int, int] = field(default_factory=dict)
    below: Mapping[int, "Material"] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class PricesOfDay:
    """The lots, averages and offers of a day that plans are priced by; only what was asked for."""

    on: date
    rates: Rates
    lots: Mapping[int, "Lot"]
    averages: Mapping[int, MovingAverage]
    production: Production
    offers: Mapping[int, list[OfferTerms]]

    def price(self, plan: Plan, basis: PriceBasis) -> Priced:
        """The needs of one of the plans on a basis that was asked for. No query."""
        match basis:
            case PriceBasis.PICKED_LOTS:
                return self._picked(plan.needs)
            case PriceBasis.MOVING_AVERAGE:
                return self._averaged(plan.needs)
            case PriceBasis.REPLACEMENT:
                return self._replaced(plan.needs)

    def _picked(self, needs: Mapping[int, int]) -> Priced:
        """Each lot that would be picked, at its own cost; what no lot covers is missing."""
        there = dict.fromkeys(needs, 0)
        for lot in self.lots.values():
            view = view_of(lot)
            if view.material in there and is_usable(view, on=self.on):
                there[view.material] += view.available
        covered = {pk: min(need, there[pk]) for pk, need in needs.items() if there[pk]}
        priced = Priced()
        for pk, picks in plan_picks(covered, self.lots, {}, on=self.on).picks.items():
            priced.costs[pk] = sum(
                share(each.lot.cost, each.amount, each.lot.on_hand) for each in picks
            )
            priced.sources[pk] = ", ".join(each.lot.code for each in picks)
        priced.unpriced = {
            pk: need - covered.get(pk, 0) for pk, need in needs.items() if need > covered.get(pk, 0)
        }
        return priced

    def _averaged(self, needs: Mapping[int, int]) -> Priced:
        """The average of all that is held and may be used (IAS 2 paragraph 25), reserved or not."""
        known = self.averages
        return Priced(
            costs={pk: known[pk].cost_of(need) for pk, need in needs.items() if pk in known},
            unpriced={pk: need for pk, need in needs.items() if pk not in known},
        )

    def _replaced(self, needs: Mapping[int, int]) -> Priced:
        """All needs bought together with freight; blends that are made here, of what is bought."""
        found = replaced(needs, self.production, self.offers, rates=self.rates)
        return Priced(
            costs=dict(found.costs),
            sources=dict(found.sources),
            unpriced=dict(found.missing),
            below=self.production.materials,
        )


def prices_of_day(
    plans: Sequence[Plan], *, on: date, bases: Sequence[PriceBasis], rates: Rates
) -> PricesOfDay:
    """All that these plans are priced by. One query each basis, however many plans.

    Replacement takes two more for each level of blends that are made here.
    """
    largest: dict[int, int] = {}
    for plan in plans:
        for pk, need in plan.needs.items():
            largest[pk] = max(largest.get(pk, 0), need)
    is_picked, is_averaged, is_replaced = (basis in bases for basis in PriceBasis)
    materials = {pk: material for plan in plans for pk, material in plan.materials.items()}
    production = production_below(materials.values()) if is_replaced else NOTHING
    return PricesOfDay(
        on=on,
        rates=rates,
        lots=lock_candidates(largest, on=on, lock=False) if is_picked else {},
        averages=held_on_average(largest, on=on) if is_averaged else {},
        production=production,
        offers=offers_of_day(production.materials, on=on) if is_replaced else {},
    )
