"""What a bar of a recipe costs in each mold, and what the next size up saves."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from costing.domain.bar_cost.bar_cost import CostKind
from costing.domain.bar_cost.conversion import conversion_of
from costing.queries.bar_cost.plans import PlanCosting, costs_of_plans
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.standards import standards_of_day
from costing.queries.rates.rates import rates_of_day
from recipes.queries.formulas.formulas import LoadedFormula, load_formula
from recipes.queries.molds.molds import active_molds
from recipes.queries.scaling.plans import Plan, Wish, make_plan
from studio.foundation.errors import Refusal


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """What a bar costs less than in the mold `against`, the next smaller one (below zero: more).

    `set_up` of it comes from spreading what a batch takes whatever its size (labor by the batch,
    overhead by the batch, energy) over more bars; `by_kind` adds up to `total`.
    """

    against: str
    total: int
    by_kind: Mapping[CostKind, int]
    set_up: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldCost:
    """A batch in a mold: its bars, its cost, the cost of a bar by kind, the saving by its size."""

    mold: str
    name: str
    bars: int
    costing: PlanCosting
    per_bar: int
    by_kind: Mapping[CostKind, int]
    saving: Saving | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldCosts:
    """The molds by their number of bars, and in words why the others are not among them."""

    formula: str
    version: int
    basis: PriceBasis
    on: date
    molds: tuple[MoldCost, ...]
    left_out: Mapping[str, str]


def mold_costs(
    formula: str,
    *,
    on: date,
    basis: PriceBasis = PriceBasis.REPLACEMENT,
    version: int | None = None,
) -> MoldCosts:
    """A recipe in each mold in use, on one price basis, from the fewest bars to the most.

    Twelve queries and two for each level of blends, however many molds. Molds of as many bars are
    each held against the next that has fewer. Raises NotFound, and what pricing raises.
    """
    loaded = load_formula(code=formula, number=version)
    plans, left_out = _plans(loaded)
    found = costs_of_plans(list(plans.values()), on=on, bases=[basis])
    costings = {code: costs[0] for code, costs in zip(plans, found, strict=True)}
    order = sorted(costings, key=lambda code: (costings[code].bars, code))
    rates = rates_of_day(on).rates
    standards = standards_of_day([loaded.version.formula_id], on=on)
    set_up = conversion_of(standards.work(loaded.version, bars=0), rates).total
    made: list[MoldCost] = []
    for code in order:
        made.append(_mold_cost(plans[code], costings[code], made, set_up))
    return MoldCosts(
        formula=formula,
        version=loaded.version.number,
        basis=basis,
        on=on,
        molds=tuple(made),
        left_out=left_out,
    )


def _plans(loaded: LoadedFormula) -> tuple[dict[str, Plan], dict[str, str]]:
    """The plan in each mold in use, by its code, and in words why some have none. One query."""
    plans: dict[str, Plan] = {}
    left_out: dict[str, str] = {}
    for mold in active_molds():
        try:
            plan = make_plan(loaded, Wish(mold=mold))
        except Refusal as refusal:
            left_out[mold.code] = str(refusal)
            continue
        if plan.bars:
            plans[mold.code] = plan
        else:
            left_out[mold.code] = "It is not cut into bars."
    return plans, left_out


def _mold_cost(
    plan: Plan, costing: PlanCosting, smaller: Iterable[MoldCost], set_up: int
) -> MoldCost:
    mold = plan.wish.mold
    bar = costing.bar
    lines = () if bar is None else bar.lines
    by_kind: dict[CostKind, int] = {
        kind: sum(line.per_bar for line in lines if line.line.kind is kind)
        for kind in CostKind
        if kind is not CostKind.RECOVERED
    }
    per_bar = 0 if bar is None else bar.per_bar
    fewer = [each for each in smaller if each.bars < costing.bars]
    return MoldCost(
        mold=mold.code if mold else "",
        name=mold.name if mold else "",
        bars=costing.bars,
        costing=costing,
        per_bar=per_bar,
        by_kind=by_kind,
        saving=_saving(fewer[-1], by_kind, costing.bars, set_up) if fewer else None,
    )


def _saving(against: MoldCost, by_kind: Mapping[CostKind, int], bars: int, set_up: int) -> Saving:
    saved = {kind: against.by_kind[kind] - cost for kind, cost in by_kind.items()}
    return Saving(
        against=against.mold,
        total=sum(saved.values()),
        by_kind=saved,
        set_up=round(Fraction(set_up, against.bars) - Fraction(set_up, bars)),
    )
