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
from costing.domain.conversion import conversion_of
from costing.domain.pricing import PriceBasis
from costing.domain.rates import Rates, RatesInForce
from costing.queries.rates import missing_rates_note, rates_of_day
from costing.queries.replacement import offers_of_day, replaced
from costing.queries.standards import StandardsInForce, standards_of_day
from inventory.domain.lots import is_usable
from inventory.queries import held_on_average
from inventory.services.picking import lock_candidates, plan_picks, view_of
from recipes.domain.formula import Stage
from recipes.queries.explosion import production_below
from recipes.services.planning import Plan
from studio.money import share, split

if TYPE_CHECKING:
    from inventory.models import Material

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
    """Cost and source by material id, the amounts that have no price, and materials of blends."""

    costs: dict[int, int] = field(default_factory=dict)
    sources: dict[int, str] = field(default_factory=dict)
    unpriced: dict[int, int] = field(default_factory=dict)
    below: Mapping[int, "Material"] = field(default_factory=dict)


def cost_of_plan(plan: Plan, *, basis: PriceBasis, on: date) -> PlanCosting:
    """The cost of a plan on one basis, were it made on that day. Three queries, see below."""
    return costs_of_plan(plan, on=on, bases=(basis,))[0]


def costs_of_plan(
    plan: Plan, *, on: date, bases: Sequence[PriceBasis] = tuple(PriceBasis)
) -> tuple[PlanCosting, ...]:
    """The cost of a plan on several bases. One query each, and one for rates and for standards.

    Replacement takes two more for each level of blends.

    Picked lots are those the shelf check would take, each at its own cost; the moving average is
    that of all lots which may be used; replacement is each need's part of the order that would be
    placed for all of them at the best offers for their quantities, with price breaks and freight
    (`costing.domain.replacement` says how). Blends that are made here are replaced by making them.
    Labor and overhead are by the labor standard of the day (else the version's minutes) at its
    rates.
    """
    found = rates_of_day(on)
    standards = standards_of_day([plan.loaded.version.formula_id], on=on)
    return tuple(_costed(plan, basis, found, standards, on) for basis in bases)


def _costed(
    plan: Plan, basis: PriceBasis, found: RatesInForce, standards: StandardsInForce, on: date
) -> PlanCosting:
    priced = _PRICING[basis](plan, on, found.rates)
    conversion = conversion_of(standards.work_of_plan(plan), found.rates)
    cost = added_up(_lines(plan, priced), conversion)
    materials = {**priced.below, **plan.materials}
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


def _picked(plan: Plan, on: date, _: Rates) -> _Priced:
    """Each lot that would be picked, at its own cost; what no lot covers is missing."""
    needs = plan.needs
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


def _averaged(plan: Plan, on: date, _: Rates) -> _Priced:
    """The average of all that is held and may be used (IAS 2 paragraph 25), reserved or not."""
    needs = plan.needs
    averages = held_on_average(needs, on=on)
    return _Priced(
        costs={pk: averages[pk].cost_of(need) for pk, need in needs.items() if pk in averages},
        unpriced={pk: need for pk, need in needs.items() if pk not in averages},
    )


def _replaced(plan: Plan, on: date, rates: Rates) -> _Priced:
    """All needs bought together at today's offers with freight; blends made here, of what is."""
    production = production_below(plan.materials.values())
    found = replaced(
        plan.needs, production, offers_of_day(production.materials, on=on), rates=rates
    )
    return _Priced(
        costs=dict(found.costs),
        sources=dict(found.sources),
        unpriced=dict(found.missing),
        below=production.materials,
    )


_PRICING: Mapping[PriceBasis, Callable[[Plan, date, Rates], _Priced]] = {
    PriceBasis.PICKED_LOTS: _picked,
    PriceBasis.MOVING_AVERAGE: _averaged,
    PriceBasis.REPLACEMENT: _replaced,
}
