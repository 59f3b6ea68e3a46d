"""How much of a material may come at most by a day: what the shelf holds, what is used in time."""

import math
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from inventory.domain.buying.plan import BuyProblem, WantedMaterial


class CapKind(StrEnum):
    """Why no more may come."""

    SPACE = "space"
    SHELF_LIFE = "shelf-life"


@dataclass(frozen=True, slots=True)
class Cap:
    """By the end of a day no more than `most` stock units may have come."""

    day: date
    most: int
    kind: CapKind


def caps_of(problem: BuyProblem) -> dict[str, tuple[Cap, ...]]:
    """The caps of each material that is needed, on each day on which something may come."""
    days: dict[str, set[date]] = defaultdict(set)
    for offer in problem.offers:
        last = problem.last_due(offer.material)
        if last is not None:
            days[offer.material].update(
                comes for day in problem.order_dates if (comes := offer.arrives(day)) <= last
            )
    found = {}
    for material in problem.materials:
        arrivals = sorted(days[material.code])
        if arrivals:
            found[material.code] = tuple(_caps(problem, material, arrivals))
    return found


def most_used_by(problem: BuyProblem, material: WantedMaterial, day: date) -> int | None:
    """The most that can be used until the end of a day of what the plan buys; None: not known.

    The larger of what is needed until then and what is expected to be used, less what is there
    already: known needs are part of the expected use, not beside it.
    """
    if material.use_per_day is None:
        return None
    first = problem.order_dates[0]
    needed = sum(need.amount for need in problem.needs_of(material.code) if need.due <= day)
    used = math.floor(material.use_per_day * (day - first).days)
    return max(needed, used - max(0, material.stock_on(first)))


def _caps(problem: BuyProblem, material: WantedMaterial, arrivals: list[date]) -> list[Cap]:
    caps = []
    if problem.rules.keep_to_space and material.space is not None:
        days = {*arrivals, *(step.day for step in material.stock if step.day >= arrivals[0])}
        for day in sorted(days):
            room = max(0, material.space - material.stock_on(day))
            caps.append(Cap(day, room, CapKind.SPACE))
    if problem.rules.keep_to_shelf_life and material.keeps_days is not None:
        for day in arrivals:
            # First come, first used: what has come by a day must be used before that day's best
            # before, and in the order of coming nothing else is used first.
            until = day + timedelta(days=material.keeps_days)
            most = most_used_by(problem, material, until)
            if most is not None:
                caps.append(Cap(day, most, CapKind.SHELF_LIFE))
    return caps
