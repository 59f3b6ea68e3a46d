"""The answer to 'what if' as plain values, which can be shown now or kept with a job."""

from collections.abc import Mapping, Sequence
from typing import Any

from costing.domain.what_if.effects import Effect, largest_first
from costing.queries.what_if.prices import ChangedPrice
from costing.queries.what_if.what_if import Answer

#: So many recipes are told one by one: those that move most.
MOST_SHOWN = 100


def plain_answer(answer: Answer, prices: Sequence[ChangedPrice]) -> dict[str, Any]:
    """What moves, the largest first, and the prices that would fall; values that JSON holds."""
    effects = largest_first(answer.outcome.effects)
    moves = [each.difference for each in effects if each.difference]
    return {
        "on": answer.question.on.isoformat(),
        "asked": len(answer.recipes),
        "moved": len(moves),
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
        "was_under": each.was_under,
        "margin": None if each.margin is None else str(each.margin),
        "changed_margin": None if each.changed_margin is None else str(each.changed_margin),
    }
