"""What a plan would cost, at each of the three price bases, line by line.

A price that nobody knows is named and left out; it is never guessed.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from costing.domain.bar_cost import (
    BarCost,
    BatchCost,
    CostKind,
    CostLine,
    added_up,
    bar_cost,
)
from costing.domain.conversion import conversion_cost
from costing.domain.pricing import OfferView, PriceBasis, replacement_costs
from costing.domain.rates import RatesInForce
from costing.queries.rates import missing_rates_note, rates_of_day
from inventory.domain.lots import is_usable
from inventory.queries import current_offers, held_on_average
from inventory.services.picking import lock_candidates, plan_picks, view_of
from recipes.domain.formula import Stage
from recipes.services.planning import Plan
from studio.money import share, split

if TYPE_CHECKING:
    from inventory.models import Material, Offer

#: Why a price is missing, by basis.
_REASONS: Mapping[PriceBasis, str] = {
    PriceBasis.PICKED_LOTS: "No lot that may be used covers it.",
    PriceBasis.MOVING_AVERAGE: "None of it is held, so there is no average.",
    PriceBasis.REPLACEMENT: "No supplier offers it on that day.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingPrice:
    """An amount (stock units) of a material that has no price on a basis, and why."""

    material: "Material"
    amount: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanCosting:
    """What a plan would cost on one basis.

    Lines are those of the plan; a line whose material has no price counts with what of it has one.
    `bar` is None where the plan makes no bars. `missing` names every amount that has no price:
    with any, the cost is too low by theirs.
    """

    basis: PriceBasis
    on: date
    cost: BatchCost
    bars: int
    bar: BarCost | None
    missing: tuple[MissingPrice, ...]
    notes: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether every material has a price."""
        return not self.missing


@dataclass(slots=True)
class _Priced:
    """Cost and source by material id, and the amounts that have no price."""

    costs: dict[int, int] = field(default_factory=dict)
    sources: dict[int, str] = field(default_factory=dict)
    unpriced: dict[int, int] = field(default_factory=dict)


def cost_of_plan(plan: Plan, *, basis: PriceBasis, on: date) -> PlanCosting:
    """The cost of a plan on one basis, were it made on that day. Two queries."""
    return costs_of_plan(plan, on=on, bases=(basis,))[0]


def costs_of_plan(
    plan: Plan, *, on: date, bases: Sequence[PriceBasis] = tuple(PriceBasis)
) -> tuple[PlanCosting, ...]:
    """The cost of a plan on several bases. One query each, and one for the rates.

    Picked lots are those the shelf check would take, each at its own cost; the moving average is
    that of all lots which may be used; replacement is the best current offer of each material,
    without its freight. Labor and overhead are the version's minutes at the rates of the day.
    """
    found = rates_of_day(on)
    return tuple(_costed(plan, basis, found, on) for basis in bases)


def _costed(plan: Plan, basis: PriceBasis, found: RatesInForce, on: date) -> PlanCosting:
    priced = _PRICING[basis](plan.needs, on)
    conversion = conversion_cost(labor_minutes=plan.loaded.version.minutes, rates=found.rates)
    cost = added_up(_lines(plan, priced), conversion)
    materials = plan.materials
    note = missing_rates_note(found, on=on)
    return PlanCosting(
        basis=basis,
        on=on,
        cost=cost,
        bars=plan.bars,
        bar=bar_cost(cost, good_bars=plan.bars) if plan.bars else None,
        missing=tuple(
            MissingPrice(material=materials[pk], amount=amount, reason=_REASONS[basis])
            for pk, amount in priced.unpriced.items()
        ),
        notes=(note,) if note else (),
    )


def _lines(plan: Plan, priced: _Priced) -> list[CostLine]:
    """The plan's lines; what a material costs is split over its lines by their amounts."""
    parts: dict[int, list[int]] = {}
    for pk in plan.needs:
        amounts = [line.amount for line in plan.lines if line.material.pk == pk]
        parts[pk] = split(priced.costs.get(pk, 0), amounts)
    return [
        CostLine(
            kind=CostKind.PACKAGING if line.stage is Stage.PACK else CostKind.MATERIAL,
            code=line.material.code,
            name=line.material.name,
            cost=parts[line.material.pk].pop(0),
            quantity=line.amount,
            unit=line.material.stock_unit,
            origin=priced.sources.get(line.material.pk, ""),
        )
        for line in plan.lines
    ]


def _picked(needs: Mapping[int, int], on: date) -> _Priced:
    """Each lot that would be picked, at its own cost; what no lot covers is missing."""
    lots = lock_candidates(needs, on=on, lock=False)
    there = dict.fromkeys(needs, 0)
    for lot in lots.values():
        view = view_of(lot)
        if is_usable(view, on=on):
            there[view.material] += view.available
    covered = {pk: min(need, there[pk]) for pk, need in needs.items() if there[pk]}
    priced = _Priced()
    for pk, picks in plan_picks(covered, lots, {}, on=on).picks.items():
        priced.costs[pk] = sum(
            share(each.lot.cost, each.amount, each.lot.on_hand) for each in picks
        )
        priced.sources[pk] = ", ".join(each.lot.code for each in picks)
    priced.unpriced = {
        pk: need - covered.get(pk, 0) for pk, need in needs.items() if need > covered.get(pk, 0)
    }
    return priced


def _averaged(needs: Mapping[int, int], on: date) -> _Priced:
    """The average of all that is held and may be used (IAS 2 paragraph 25), reserved or not."""
    averages = held_on_average(needs, on=on)
    return _Priced(
        costs={pk: averages[pk].cost_of(need) for pk, need in needs.items() if pk in averages},
        unpriced={pk: need for pk, need in needs.items() if pk not in averages},
    )


def _replaced(needs: Mapping[int, int], on: date) -> _Priced:
    """The best current offer of each material, in proportion to its pack."""
    offers: dict[int, Offer] = {
        offer.pk: offer
        for offer in current_offers(on).filter(material__in=list(needs)).select_related("supplier")
    }
    views: dict[int, list[OfferView]] = {}
    for offer in offers.values():
        views.setdefault(offer.material_id, []).append(_offer_view(offer))
    found = replacement_costs(needs, views, on=on)
    return _Priced(
        costs={pk: each.cost for pk, each in found.costs.items()},
        sources={pk: offers[each.offer.id].code for pk, each in found.costs.items()},
        unpriced={pk: needs[pk] for pk in found.missing},
    )


def _offer_view(offer: "Offer") -> OfferView:
    return OfferView(
        id=offer.pk,
        supplier=offer.supplier.name,
        price=offer.price,
        pack_amount=offer.pack_amount,
        valid_from=offer.valid_from,
        valid_until=offer.valid_until,
    )


_PRICING: Mapping[PriceBasis, Callable[[Mapping[int, int], date], _Priced]] = {
    PriceBasis.PICKED_LOTS: _picked,
    PriceBasis.MOVING_AVERAGE: _averaged,
    PriceBasis.REPLACEMENT: _replaced,
}
