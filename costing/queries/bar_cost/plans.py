"""What a plan would cost, on each price basis, line by line.

A price that nobody knows is named and left out; it is never guessed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING

from costing.domain.bar_cost.bar_cost import (
    BarCost,
    BatchCost,
    CostKind,
    CostLine,
    added_up,
    bar_cost,
)
from costing.domain.bar_cost.conversion import conversion_of
from costing.domain.rates.rates import RatesInForce
from costing.queries.bar_cost.batches import too_low_note
from costing.queries.bar_cost.not_known import NotKnown, lots_not_known
from costing.queries.bar_cost.price_basis import LookUp, PriceBasis, Priced
from costing.queries.bar_cost.replacement import paid_note
from costing.queries.bar_cost.standards import StandardsInForce, standards_of_day
from costing.queries.rates.rates import missing_rates_note, rates_of_day
from recipes.domain.formulas.formula import Stage
from recipes.queries.scaling.plans import Plan
from studio.foundation.money import split
from studio.foundation.units.registry import NG_PER_G

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingPrice:
    """An amount (stock units) of a material that has no price on a basis, and why."""

    material: "Material"
    amount: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanCosting:
    """What a plan would cost on one basis.

    Lines are those of the plan; of one whose material has no price, what is known counts.
    `bar` is None where the plan makes no bars. `missing` names every amount that has no price. With
    any, or without a rate, the cost is not known, only the least that it can be; `notes` say why.
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
        """Whether every material has a price, and labor and overhead their rates."""
        return self.cost.known


def costs_of_plan(
    plan: Plan,
    *,
    on: date,
    bases: Sequence[PriceBasis] = tuple(PriceBasis),
    lacking: NotKnown | None = None,
) -> tuple[PlanCosting, ...]:
    """The cost of a plan on several bases. One query each, and one for rates, for standards and for
    what is not known.

    Replacement takes two more for each level of blends, and one where something is not offered.

    Picked lots are those the shelf check would take, each at its own cost; the moving average is
    that of all lots which may be used; replacement is each need's part of the order that would be
    placed for all of them at the best offers for their quantities, with price breaks and freight
    (`costing.domain.bar_cost.replacement` says how). Blends that are made here are replaced by
    making them. Labor and overhead are by the labor standard of the day (else the version's
    minutes) at its rates.
    """
    return costs_of_plans([plan], on=on, bases=bases, lacking=lacking)[0]


def per_gram_of_plan(plan: Plan, costing: PlanCosting) -> int | None:
    """What a gram of a bar costs once it is cured, in ten-thousandths, rounded half to even.

    The whole cost of the batch over what is left of it after the cure; None where the plan makes
    no bars, or nothing that is weighed, or its cost is not known. Reads nothing.
    """
    finished = plan.scaled.finished_ng if plan.scaled is not None else 0
    total = costing.cost.total
    if costing.bar is None or not finished or total is None:
        return None
    return round(Fraction(total * NG_PER_G, finished))


def costs_of_plans(
    plans: Sequence[Plan],
    *,
    on: date,
    bases: Sequence[PriceBasis] = tuple(PriceBasis),
    lacking: NotKnown | None = None,
) -> list[tuple[PlanCosting, ...]]:
    """As `costs_of_plan` for several plans, each by itself, with as many queries as for one.

    `lacking` is read unless it is there.
    """
    found = rates_of_day(on)
    formulas = {plan.loaded.version.formula_id for plan in plans}
    standards = standards_of_day(formulas, on=on)
    lacking = lacking or lots_not_known()
    looked_up = {
        basis: basis.look_up.read(plans, on=on, rates=found.rates, lacking=lacking)
        for basis in bases
    }
    return [
        tuple(_costed(plan, basis, looked_up[basis], found, standards, on=on) for basis in bases)
        for plan in plans
    ]


def _costed(
    plan: Plan,
    basis: PriceBasis,
    looked_up: LookUp,
    found: RatesInForce,
    standards: StandardsInForce,
    *,
    on: date,
) -> PlanCosting:
    priced = looked_up.price(plan.needs)
    conversion = conversion_of(standards.work_of_plan(plan), found.rates)
    cost = added_up(_lines(plan, priced), conversion)
    materials = {**priced.below, **plan.materials}
    paid = {materials[pk].name: day for pk, day in priced.paid.items()}
    low = sorted(materials[pk].name for pk in priced.too_low)
    notes = (
        missing_rates_note(
            (*conversion.missed, *priced.missed),
            on=on,
            untold=conversion.untold or priced.untold,
        ),
        *too_low_note(low),
        paid_note(paid, on=on),
    )
    return PlanCosting(
        basis=basis,
        on=on,
        cost=cost,
        bars=plan.bars,
        bar=bar_cost(cost, good_bars=plan.bars) if plan.bars else None,
        missing=tuple(
            MissingPrice(material=materials[pk], amount=amount, reason=basis.lacking)
            for pk, amount in priced.unpriced.items()
        ),
        notes=tuple(note for note in notes if note),
    )


def _lines(plan: Plan, priced: Priced) -> list[CostLine]:
    """The plan's lines; what a material costs is split over its lines by their amounts."""
    parts: dict[int, list[int]] = {}
    unknown = priced.unknown
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
            known=line.material.pk not in unknown,
        )
        for line in plan.lines
    ]
