"""Solving a buy plan: the cheapest plan with its proof, the runner-up, and conflicts by name."""

from dataclasses import replace

from inventory.domain.buying.integer_program import Answer, Proof
from inventory.domain.buying.model import BuyModel, build_model
from inventory.domain.buying.plan import BuyProblem, Outcome, PricedPlan, Solution
from inventory.domain.buying.plan_conflicts import fewest_unmet, unmet_needs
from inventory.domain.buying.plan_cost import priced_plan
from studio.foundation.errors import Faults, InvalidInput


def solve(problem: BuyProblem, *, time_limit: float = 20.0, runner_up: bool = True) -> Solution:
    """The cheapest plan, how far it is proven, and the runner-up.

    `time_limit` is in seconds for each question asked of the solver: the plan, the runner-up, and
    where no plan meets all needs, which needs conflict and why. Costs are summed up again from the
    offers, and agree with the solver's to the last ten-thousandth or a RuntimeError says so.
    Raises InvalidInput for a problem that cannot be stated, or whose costs pass 2^53.
    """
    _check(problem)
    model = build_model(problem)
    answer = model.program.solve(time_limit=time_limit)
    if answer.proof is Proof.INFEASIBLE:
        return _leaving_out(problem, time_limit=time_limit, runner_up=runner_up)
    if answer.values is None:
        return Solution(outcome=Outcome.NOTHING_FOUND, plan=None, bound=answer.bound)
    plan = _plan(problem, model, answer)
    proven = answer.proof is Proof.OPTIMAL
    found = Solution(
        outcome=Outcome.PROVEN if proven else Outcome.BEST_SO_FAR, plan=plan, bound=answer.bound
    )
    if not runner_up:
        return found
    model.forbid(model.packs_in(answer.values))
    other = model.program.solve(time_limit=time_limit)
    return replace(
        found,
        runner_up=None if other.values is None else _plan(problem, model, other),
        runner_up_proven=other.proof is not Proof.TIME_OUT,
    )


def _plan(problem: BuyProblem, model: BuyModel, answer: Answer) -> PricedPlan:
    assert answer.values is not None
    plan = priced_plan(problem, model.packs_in(answer.values))
    if answer.proof is Proof.OPTIMAL and plan.cost.total != answer.cost:
        raise RuntimeError(f"The plan costs {plan.cost.total}, the solver says {answer.cost}.")
    return plan


def _leaving_out(problem: BuyProblem, *, time_limit: float, runner_up: bool) -> Solution:
    """The plan for the most needs that can be met together, and why not for the others."""
    left_out = fewest_unmet(problem, time_limit=time_limit)
    if not left_out:
        return Solution(outcome=Outcome.NOTHING_FOUND, plan=None, bound=None)
    unmet = unmet_needs(problem, left_out, time_limit=time_limit)
    rest = replace(problem, left_out=frozenset(left_out))
    found = solve(rest, time_limit=time_limit, runner_up=runner_up)
    return replace(found, unmet=unmet, left_out=rest.left_out)


def _check(problem: BuyProblem) -> None:
    """Refuse what cannot be stated: needs of nothing, unknown materials, reversed dates."""
    faults = Faults()
    if not problem.order_dates or list(problem.order_dates) != sorted(set(problem.order_dates)):
        faults.add("order-dates", "Order dates ascend, and there is at least one.", "order_dates")
    known = {material.code for material in problem.materials}
    for index, need in enumerate(problem.needs):
        if need.amount <= 0:
            faults.add("nothing", "A need is above zero.", f"needs.{index}.amount")
        if need.material not in known:
            faults.add(
                "not-found", f"Material {need.material} is unknown.", f"needs.{index}.material"
            )
        if need.due > problem.horizon:
            faults.add("dates-reversed", "A need lies past the horizon.", f"needs.{index}.due")
    faults.raise_if_any(InvalidInput)
