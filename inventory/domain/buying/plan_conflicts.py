"""Why a need cannot be met: found by lifting one rule after the other and asking again."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta

from inventory.domain.buying.model import build_model, usable_offers
from inventory.domain.buying.plan import BuyProblem, Need, Obstacle, OpenOffer, UnmetNeed

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
