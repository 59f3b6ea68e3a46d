"""Needs that nothing can meet in time: named, and then met as soon as anything can come."""

from dataclasses import dataclass, replace
from datetime import date

from inventory.domain.buying.model import usable_offers
from inventory.domain.buying.plan import BuyProblem, Need


@dataclass(frozen=True, slots=True, kw_only=True)
class LateNeed:
    """A need that the quickest offer meets only on `earliest`; it had to be ordered by `order_by`.

    The quickest offer is `offer`, by its code.
    """

    need: Need
    earliest: date
    order_by: date
    offer: str


def postpone_late(problem: BuyProblem) -> tuple[BuyProblem, tuple[LateNeed, ...]]:
    """The problem with each late need due when the quickest offer comes, and those needs.

    A need that no usable offer is for stays as it is, and one to be ordered on a day is never late:
    it may come with the slowest of that day's offers within the horizon. The horizon follows the
    last need.
    """
    late: list[LateNeed] = []
    needs: list[Need] = []
    for asked in problem.needs:
        need = _ordered_at_once(problem, asked)
        if need.order_on is not None:
            needs.append(need)
            continue
        quickest = min(
            (
                (offer.arrives(day), day, offer)
                for offer in usable_offers(problem)
                for day in problem.order_dates
                if offer.material == need.material and offer.holds_on(day)
            ),
            key=lambda each: (each[0], each[1], each[2].code),
            default=None,
        )
        if quickest is None or quickest[0] <= need.due:
            needs.append(need)
            continue
        earliest, _, offer = quickest
        order_by = need.due - (offer.arrives(problem.order_dates[0]) - problem.order_dates[0])
        late.append(LateNeed(need=need, earliest=earliest, order_by=order_by, offer=offer.code))
        needs.append(replace(need, due=earliest))
    horizon = max([problem.horizon, *(need.due for need in needs)])
    return replace(problem, needs=tuple(needs), horizon=horizon), tuple(late)


def _ordered_at_once(problem: BuyProblem, need: Need) -> Need:
    """The need due when the slowest usual offer ordered on its day comes; any other as it is.

    One that no offer of its day is for is an ordinary need from then on.
    """
    day = need.order_on
    if day is None:
        return need
    arrivals = [
        offer.arrives(day)
        for offer in usable_offers(problem)
        if offer.material == need.material and offer.holds_on(day)
    ]
    if day not in problem.order_dates or not arrivals:
        return replace(need, order_on=None)
    latest = max(problem.horizon, min(arrivals))
    return replace(need, due=max(come for come in arrivals if come <= latest))
