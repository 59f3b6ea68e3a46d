"""What a bar of each recipe costs in the same mold."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from costing.queries.bar_cost.plans import PlanCosting, costs_of_plans, per_gram_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from recipes.queries.formulas.newest import newest_versions
from recipes.queries.molds.molds import mold_by_code
from recipes.queries.scaling.plans import Plan, Wish, make_plan
from studio.foundation.errors import Refusal

if TYPE_CHECKING:
    from recipes.models.formulas.formulas import Formula


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeCost:
    """A recipe's newest version in a mold: its bars, the cost of one, and of a cured gram.

    Without a cost, `reason` says why.
    """

    formula: "Formula"
    bars: int = 0
    costing: PlanCosting | None = None
    per_bar: int | None = None
    per_gram: int | None = None
    reason: str = ""


def recipe_costs(
    formulas: Collection["Formula"],
    *,
    mold: str,
    on: date,
    basis: PriceBasis = PriceBasis.REPLACEMENT,
) -> list[RecipeCost]:
    """The recipes in a mold (by its code), the dearest bar first, those without a cost last.

    A fixed number of queries, and two for each level of blends. Raises NotFound for a mold that
    is not there, and what pricing raises.
    """
    wanted = mold_by_code(mold)
    loaded = newest_versions([formula.pk for formula in formulas])
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
        per_gram=per_gram_of_plan(plan, costing),
    )
