"""What changes would do to the price list, and the whole answer as plain values.

The values can be shown now or kept with a job.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from django.db.models import Q

from costing.domain.prices.ladder import kept_margin
from costing.domain.rates.rates import Fees
from costing.domain.what_if.effects import Effect, largest_first
from costing.models.prices.prices import PriceEntry
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.product_costs import ProductCost, product_costs
from costing.queries.prices.prices import by_pair, entries_on, fees_of_tiers, floors_from, terms_of
from costing.queries.what_if.what_if import Answer
from studio.foundation.hints import Money, Share

#: So many recipes are told one by one: those that move most.
MOST_SHOWN = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedPrice:
    """A price of the list and what it keeps, now and with the changes.

    Margins are of the price without tax, after fees, on replacement cost; floors rest on the higher
    of actual and replacement cost. Where some cost is not known there is no floor, but the least
    that it can be (`floor_at_least`, the floor itself where that is known): below it a price is
    under its floor for certain. `restoring` is the lowest price as the tier writes it that keeps
    the floor margin; None where it is kept, or some cost is not known.
    """

    entry: PriceEntry
    margin: Share | None
    changed_margin: Share | None
    floor: Money | None
    changed_floor: Money | None
    floor_at_least: Money | None
    changed_floor_at_least: Money | None

    @property
    def was_under(self) -> bool:
        """Whether it is under its floor as things are."""
        return self.floor_at_least is not None and self.entry.price < self.floor_at_least

    @property
    def is_under(self) -> bool:
        """Whether it would be under its floor."""
        least = self.changed_floor_at_least
        return least is not None and self.entry.price < least

    @property
    def restoring(self) -> Money | None:
        """The price that would keep the floor margin, where this one does not."""
        return self.changed_floor if self.is_under else None


def changed_prices(answer: Answer) -> list[ChangedPrice]:
    """Every price of the products in an answer, in the order of the list.

    Only on the basis replacement: floors and margins rest on it. Two queries and those of
    `product_costs`, for any number of prices.
    """
    if answer.question.basis is not PriceBasis.REPLACEMENT:
        return []
    bars = _changed_bars(answer)
    on = answer.question.on
    entries = list(entries_on(on, Q(product__in=list(bars))))
    tiers = {entry.tier_id: entry.tier for entry in entries}
    ladders = by_pair(entries)
    fees = fees_of_tiers(tiers.values(), on=on)
    now = product_costs({entry.product_id for entry in entries}, on=on, lacking=answer.lacking)
    then = {
        pk: replace(
            cost, replacement=bars[pk].changed, replacement_at_least=bars[pk].changed_at_least
        )
        for pk, cost in now.items()
    }
    before = floors_from(tiers.values(), now, ladders, fees=fees)
    after = floors_from(tiers.values(), then, ladders, fees=fees)
    found: list[ChangedPrice] = []
    for entry in entries:
        pair, quantity = (entry.product_id, entry.tier_id), entry.from_quantity
        found.append(
            ChangedPrice(
                entry=entry,
                margin=_margin(entry, now[entry.product_id], fees[entry.tier_id]),
                changed_margin=_margin(entry, then[entry.product_id], fees[entry.tier_id]),
                floor=before[pair].at(quantity),
                changed_floor=after[pair].at(quantity),
                floor_at_least=before[pair].at_least(quantity),
                changed_floor_at_least=after[pair].at_least(quantity),
            )
        )
    return found


def _changed_bars(answer: Answer) -> dict[int, Effect]:
    """What the changes do to a bar of each product, by product id."""
    return {
        product.pk: effect
        for each, effect in zip(answer.recipes, answer.outcome.effects, strict=True)
        for product in each.recipe.products
    }


def _margin(entry: PriceEntry, cost: ProductCost, fees: Fees) -> Decimal | None:
    if cost.replacement is None:
        return None
    terms = terms_of(entry.tier, fees, entry.from_quantity)
    return kept_margin(entry.price, cost.replacement, terms=terms)


def plain_answer(answer: Answer, prices: Sequence[ChangedPrice]) -> dict[str, Any]:
    """What moves, the largest first, and the prices that would fall; values that JSON holds."""
    effects = largest_first(answer.outcome.effects)
    moves = [each.difference for each in effects if each.difference]
    return {
        "on": answer.question.on.isoformat(),
        "asked": len(answer.recipes),
        "moved": len(moves),
        "unknown": sum(1 for each in effects if each.difference is None),
        "least": min(moves, default=0),
        "most": max(moves, default=0),
        "recipes": [_recipe(answer, each) for each in effects[:MOST_SHOWN]],
        "not_made": [
            {"name": each.recipe.formula.name, "mold": each.recipe.mold.name, "why": each.reason}
            for each in answer.not_made
        ],
        "falls": [_fall(each) for each in prices if each.is_under],
        "notes": list(answer.notes),
    }


def merged(answers: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Answers of one question about different recipes as one answer."""
    recipes = [each for answer in answers for each in answer["recipes"]]
    recipes.sort(key=lambda each: -abs(each["difference"] or 0))
    together = {
        name: [each for answer in answers for each in answer[name]]
        for name in ("not_made", "falls")
    }
    notes = dict.fromkeys(note for answer in answers for note in answer["notes"])
    moving = [answer for answer in answers if answer["moved"]]
    return {
        "on": answers[0]["on"],
        "asked": sum(answer["asked"] for answer in answers),
        "moved": sum(answer["moved"] for answer in answers),
        # Parts that were answered by an earlier version do not say it.
        "unknown": sum(answer.get("unknown", 0) for answer in answers),
        "least": min((answer["least"] for answer in moving), default=0),
        "most": max((answer["most"] for answer in moving), default=0),
        "recipes": recipes[:MOST_SHOWN],
        **together,
        "notes": list(notes),
    }


def _recipe(answer: Answer, effect: Effect) -> dict[str, Any]:
    each = answer.recipes[effect.place]
    return {
        "code": each.recipe.formula.code,
        "name": each.recipe.formula.name,
        "mold": each.recipe.mold.name,
        "base": effect.base,
        "changed": effect.changed,
        "base_at_least": effect.base_at_least,
        "changed_at_least": effect.changed_at_least,
        "difference": effect.difference,
        "alone": list(effect.alone),
        "interaction": effect.interaction,
        "why": answer.refused.get(effect.place, ""),
    }


def _fall(each: ChangedPrice) -> dict[str, Any]:
    entry = each.entry
    return {
        "product": entry.product.code,
        "name": entry.product.name,
        "tier": entry.tier.name,
        "from_quantity": entry.from_quantity,
        "price": entry.price,
        "restoring": each.restoring,
        "floor_at_least": each.changed_floor_at_least,
        "was_under": each.was_under,
        "margin": None if each.margin is None else str(each.margin),
        "changed_margin": None if each.changed_margin is None else str(each.changed_margin),
    }
