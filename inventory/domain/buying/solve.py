"""Solving a buy plan: the cheapest plan with its proof, the runner-up, and conflicts by name."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta

from inventory.domain.buying.integer_program import Answer, Proof
from inventory.domain.buying.model import BuyModel, build_model, usable_offers
from inventory.domain.buying.plan import (
    BuyProblem,
    Need,
    Obstacle,
    OpenOffer,
    Outcome,
    PricedPlan,
    Solution,
    UnmetNeed,
)
from inventory.domain.buying.plan_cost import priced_plan
from studio.foundation.errors import Faults, InvalidInput

Lift = Callable[[BuyProblem], BuyProblem]


def fewest_unmet(problem: BuyProblem, *, time_limit: float) -> tuple[int, ...] | None:
    """The indexes of the fewest needs that must be left unmet; None when time ran out first."""
    model = build_model(problem, counting_unmet=True)
    answer = model.program.solve(time_limit=time_limit)
    if answer.values is None:
        return None
    return tuple(index for index, column in model.unmet.items() if answer.values[column])


def unmet_needs(
    problem: BuyProblem, left_out: Sequence[int], *, time_limit: float
) -> tuple[UnmetNeed, ...]:
    """The needs that are left out (their indexes), each with what stands in its way.

    First what no rule of the buyer's could mend: no offer, or none that comes in time. Else each
    rule without which the need could be met, in words that say whether it could be met alone.
    """
    plain = {index: _no_way(problem, problem.needs[index]) for index in left_out}
    found = {} if all(plain.values()) else _unmet_without(problem, time_limit=time_limit)
    # With as many needs unmet, but others, a rule only changes which of them are left out.
    rules = {code: unmet for code, unmet in found.items() if len(unmet) < len(left_out)}
    return tuple(
        UnmetNeed(
            need=problem.needs[index],
            obstacles=(obstacle,)
            if obstacle
            else _rules_in_the_way(problem, index, rules, time_limit=time_limit),
        )
        for index, obstacle in plain.items()
    )


def _rules_in_the_way(
    problem: BuyProblem,
    index: int,
    rules: Mapping[str, tuple[int, ...]],
    *,
    time_limit: float,
) -> tuple[Obstacle, ...]:
    others = frozenset(range(len(problem.needs))) - {index}
    alone = replace(problem, left_out=others)
    sentences = _ALONE if fewest_unmet(alone, time_limit=time_limit) else _BESIDE
    codes = [code for code, unmet in rules.items() if index not in unmet]
    if not codes and sentences is _ALONE:
        codes = [
            code
            for code, unmet in _unmet_without(alone, time_limit=time_limit).items()
            if not unmet
        ]
    return tuple(Obstacle(code=code, message=sentences[code]) for code in codes or ["together"])


def _unmet_without(problem: BuyProblem, *, time_limit: float) -> dict[str, tuple[int, ...]]:
    """The fewest needs left unmet without each of the rules that the problem has."""
    found = {}
    for code, lift in _LIFTS.items():
        lifted = lift(problem)
        if lifted != problem:
            unmet = fewest_unmet(lifted, time_limit=time_limit)
            if unmet is not None:
                found[code] = unmet
    return found


def _no_way(problem: BuyProblem, need: Need) -> Obstacle | None:
    offers = [offer for offer in problem.offers if offer.material == need.material]
    return _no_offer(problem, need, offers) or _too_late(problem, need, offers)


def _no_offer(problem: BuyProblem, need: Need, offers: Sequence[OpenOffer]) -> Obstacle | None:
    if not offers:
        return Obstacle(code="no-offer", message="No supplier offers it.")
    usable = usable_offers(problem)
    if not any(offer in usable for offer in offers):
        return Obstacle(code="blocked", message="Only blocked suppliers offer it.")
    return None


def _too_late(problem: BuyProblem, need: Need, offers: Sequence[OpenOffer]) -> Obstacle | None:
    """Whether nothing comes by the day it is needed, even when ordered on the first day."""
    usable = [offer for offer in usable_offers(problem) if offer in offers]
    if any(
        offer.holds_on(day) and offer.arrives(day) <= need.due
        for offer in usable
        for day in problem.order_dates
    ):
        return None
    first = problem.order_dates[0]
    holding = [offer for offer in usable if offer.holds_on(first)]
    if not holding:
        return Obstacle(code="not-current", message=f"No offer for it holds on {first}.")
    quickest = min(holding, key=lambda offer: offer.lead_days)
    latest = need.due - timedelta(days=quickest.lead_days)
    return Obstacle(
        code="too-late",
        message=f"Needed by {need.due}; the quickest offer, {quickest.code}, ordered on {first} "
        f"comes on {quickest.arrives(first)}. It had to be ordered by {latest}.",
    )


def _without_minimums(problem: BuyProblem) -> BuyProblem:
    return replace(
        problem,
        suppliers=tuple(replace(each, minimum_order=0) for each in problem.suppliers),
        offers=tuple(replace(each, minimum_packs=1) for each in problem.offers),
    )


_LIFTS: dict[str, Lift] = {
    "space": lambda p: replace(p, rules=replace(p.rules, keep_to_space=False)),
    "shelf-life": lambda p: replace(p, rules=replace(p.rules, keep_to_shelf_life=False)),
    "budget": lambda p: replace(p, rules=replace(p.rules, budget=None)),
    "single-source": lambda p: replace(p, rules=replace(p.rules, single_source=False)),
    "blocked": lambda p: replace(p, rules=replace(p.rules, blocked=frozenset())),
    "minimums": _without_minimums,
}
_ALONE = {
    "space": "Whole packs that meet it are more than its place on the shelf holds.",
    "shelf-life": "Whole packs that meet it are more than is used before their best before.",
    "budget": "The budget does not pay for it, even alone.",
    "single-source": "No single supplier can bring all of it in time.",
    "blocked": "A blocked supplier could bring it.",
    "minimums": "A supplier's smallest order is more than the other rules allow.",
    "together": "Several rules together stand in its way, no single one.",
}
_BESIDE = {
    "space": "Beside the other needs it is more than its place on the shelf holds.",
    "shelf-life": "Beside the other needs it is more than is used before its best before.",
    "budget": "The budget does not pay for it beside the other needs.",
    "single-source": "No single supplier can bring it together with the other needs of it.",
    "blocked": "A blocked supplier could bring it.",
    "minimums": "Suppliers' smallest orders are more than the other rules allow.",
    "together": "Several rules together stand in its way, no single one.",
}


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
