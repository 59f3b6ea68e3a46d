"""What bars of recipes cost: held against each other, in each mold, and from batch to batch."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from itertools import groupby
from typing import TYPE_CHECKING

from costing.domain.bar_cost.bar_cost import CostKind, Spread, spread_of
from costing.domain.bar_cost.conversion import conversion_of
from costing.queries.bar_cost.late_rates import late_variances
from costing.queries.bar_cost.not_known import NotKnown, lots_not_known
from costing.queries.bar_cost.plans import PlanCosting, costs_of_plans, per_gram_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.standards import standards_of_day
from costing.queries.rates.rates import rates_of_day
from inventory.queries.stock.last_paid import cost_put_on
from recipes.queries.bench.batches import last_made
from recipes.queries.formulas.formulas import LoadedFormula, formula_by_code, load_formula
from recipes.queries.formulas.listed import current_versions
from recipes.queries.molds.molds import active_molds, mold_by_code
from recipes.queries.scaling.plans import Plan, Wish, make_plan
from studio.foundation.errors import Refusal
from studio.foundation.hints import Money

if TYPE_CHECKING:
    from recipes.models.bench.batches import Batch
    from recipes.models.formulas.formulas import Formula


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeCost:
    """A recipe's current version in a mold: its bars, the cost of one, and of a cured gram.

    Without a cost, `reason` says why; what is known of it stands as `at_least`.
    """

    formula: "Formula"
    bars: int = 0
    costing: PlanCosting | None = None
    per_bar: int | None = None
    at_least: int | None = None
    per_gram: int | None = None
    reason: str = ""


def recipe_costs(
    formulas: Collection["Formula"],
    *,
    mold: str,
    on: date,
    basis: PriceBasis = PriceBasis.REPLACEMENT,
) -> list[RecipeCost]:
    """The recipes in a mold (by its code), the dearest bar first, those not known last.

    A fixed number of queries, and two for each level of blends. Raises NotFound for a mold that
    is not there, and what pricing raises.
    """
    wanted = mold_by_code(mold)
    loaded = current_versions([formula.pk for formula in formulas])
    plans: dict[int, Plan] = {}
    found: list[RecipeCost] = []
    for formula in formulas:
        if formula.pk not in loaded:
            found.append(RecipeCost(formula=formula, reason="It has no version yet."))
            continue
        try:
            plans[formula.pk] = make_plan(loaded[formula.pk], Wish(mold=wanted))
        except Refusal as refusal:
            found.append(RecipeCost(formula=formula, reason=str(refusal)))
    costs = costs_of_plans(list(plans.values()), on=on, bases=[basis]) if plans else []
    by_formula = dict(zip(plans, costs, strict=True))
    found += [
        _costed(formula, plans[formula.pk], by_formula[formula.pk][0])
        for formula in formulas
        if formula.pk in plans
    ]
    return sorted(found, key=lambda each: (each.per_bar is None, -(each.per_bar or 0)))


def _costed(formula: "Formula", plan: Plan, costing: PlanCosting) -> RecipeCost:
    if costing.bar is None:
        return RecipeCost(formula=formula, reason="The mold is not cut into bars.")
    return RecipeCost(
        formula=formula,
        bars=plan.bars,
        costing=costing,
        per_bar=costing.bar.per_bar,
        at_least=costing.bar.at_least,
        per_gram=per_gram_of_plan(plan, costing),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """What a bar costs less than in the mold `against`, the next smaller one (below zero: more).

    `set_up` of it comes from spreading what a batch takes whatever its size (labor by the batch,
    overhead by the batch, energy) over more bars; `by_kind` adds up to `total`.
    """

    against: str
    total: Money
    by_kind: Mapping[CostKind, Money]
    set_up: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldCost:
    """A batch in a mold: its bars, its cost, the cost of a bar by kind, the saving by its size.

    What is not known is None, with what is known of a bar as `at_least`; the saving is not known
    beside a cost that is not.
    """

    mold: str
    name: str
    bars: int
    costing: PlanCosting
    per_bar: Money | None
    at_least: Money
    by_kind: Mapping[CostKind, Money | None]
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
    lacking: NotKnown | None = None,
) -> MoldCosts:
    """A recipe in each mold in use, on one price basis, from the fewest bars to the most.

    Twelve queries and two for each level of blends, however many molds. Molds of as many bars are
    each held against the next that has fewer. Raises NotFound, and what pricing raises.
    """
    loaded = load_formula(code=formula, number=version)
    plans, left_out = _plans(loaded)
    found = costs_of_plans(list(plans.values()), on=on, bases=[basis], lacking=lacking)
    costings = {code: costs[0] for code, costs in zip(plans, found, strict=True)}
    order = sorted(costings, key=lambda code: (costings[code].bars, code))
    rates = rates_of_day(on).rates
    standards = standards_of_day([loaded.version.formula_id], on=on)
    set_up = conversion_of(standards.work(loaded.version, bars=0), rates).at_least
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
    by_kind: dict[CostKind, int | None] = {
        kind: sum(line.per_bar for line in lines if line.line.kind is kind)
        if costing.cost.of(kind) is not None
        else None
        for kind in CostKind
        if kind is not CostKind.RECOVERED
    }
    fewer = [each for each in smaller if each.bars < costing.bars]
    return MoldCost(
        mold=mold.code if mold else "",
        name=mold.name if mold else "",
        bars=costing.bars,
        costing=costing,
        per_bar=None if bar is None else bar.per_bar,
        at_least=0 if bar is None else bar.at_least,
        by_kind=by_kind,
        saving=_saving(fewer[-1], by_kind, costing.bars, set_up) if fewer else None,
    )


def _saving(
    against: MoldCost, by_kind: Mapping[CostKind, int | None], bars: int, set_up: int
) -> Saving | None:
    """None where either cost is not known."""
    saved: dict[CostKind, int] = {}
    for kind, cost in by_kind.items():
        before = against.by_kind[kind]
        if before is None or cost is None:
            return None
        saved[kind] = before - cost
    return Saving(
        against=against.mold,
        total=sum(saved.values()),
        by_kind=saved,
        set_up=round(Fraction(set_up, against.bars) - Fraction(set_up, bars)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeCost:
    """A cured batch, what its good bars cost in all by the books, and each of them (rounded).

    Rates that came late count for all of its bars, also for those that had left by then.

    Unless `known`, both are only what the books know of it.
    """

    batch: str
    version: int
    poured_on: date
    bars: int
    cost: Money
    per_bar: Money
    known: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldSpread:
    """The last batches of a recipe in one mold (None: scaled to no mold), and their spread.

    Batches whose cost is not known wholly are in no spread: they stand as `not_known`.
    """

    mold: str | None
    mold_name: str
    spread: Spread | None
    batches: tuple[MadeCost, ...]
    not_known: tuple[MadeCost, ...] = ()

    @property
    def count(self) -> int:
        """Of how many batches it is the spread."""
        return len(self.batches)


def cost_spread(formula: str, *, last: int, lacking: NotKnown | None = None) -> list[MoldSpread]:
    """The spread of the cost of a bar over the last batches of a recipe, mold by mold.

    What came late counts wholly, also the part of bars that had left, which is on no lot: the bars
    cost that, too. Five queries, however many batches; more where something is not known
    (`costing.queries.bar_cost.not_known`). Raises NotFound for an unknown recipe.
    """
    formula_by_code(formula)
    batches = last_made(formula, last=last)
    lots = [batch.bar_lot_id for batch in batches if batch.bar_lot_id]
    put_on, late = cost_put_on(lots), late_variances(lots)
    costs = {lot: put_on.get(lot, 0) + late.get(lot, 0) for lot in lots}
    not_known = (lacking or lots_not_known()).lots
    found: list[MoldSpread] = []
    for mold, rows in groupby(batches, key=lambda batch: batch.mold):
        made = [each for row in rows if (each := _made(row, costs, not_known)) is not None]
        known = tuple(each for each in made if each.known)
        if made:
            found.append(
                MoldSpread(
                    mold=mold.code if mold else None,
                    mold_name=mold.name if mold else "",
                    spread=spread_of([each.per_bar for each in known]),
                    batches=known,
                    not_known=tuple(each for each in made if not each.known),
                )
            )
    return found


def _made(batch: "Batch", costs: Mapping[int, int], lacking: Collection[int]) -> MadeCost | None:
    lot, bars = batch.bar_lot_id, batch.bars_good
    if not (batch.poured_on and bars and lot):
        return None
    cost = costs.get(lot, 0)
    return MadeCost(
        batch=batch.code,
        version=batch.version.number,
        poured_on=batch.poured_on,
        bars=bars,
        cost=cost,
        per_bar=round(Fraction(cost, bars)),
        known=lot not in lacking,
    )
