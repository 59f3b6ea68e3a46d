"""How the answer to 'what if' is written: recipes by how far they move, then the price list."""

from collections.abc import Iterable, Sequence
from typing import Any

from rest_framework import serializers

from costing.domain.bar_cost.recipe_cost import RecipeCost, Sized
from costing.domain.what_if.effects import Effect, largest_first
from costing.queries.bar_cost.price_basis import CHOICES
from costing.queries.what_if.prices import ChangedPrice
from costing.queries.what_if.what_if import Answer
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import MoneyField, ShareField

NO_PACKING = "What packs it is neither offered nor held."


class MovedLineSerializer(StrictSerializer):
    """A line of a batch's cost that moves: a material bought, labor, overhead, making of blends."""

    code = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    base = MoneyField(read_only=True, allow_null=True)
    changed = MoneyField(read_only=True, allow_null=True)


class MovedRecipeSerializer(StrictSerializer):
    """A recipe's bar as it is and as it would be, packing included.

    `by_change` are the differences by each change alone, in their order; `interaction` is what all
    of them do together beyond that sum. What is null has no price (`missing` names the materials)
    or cannot be made so (`reason`).
    """

    formula = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    version = serializers.IntegerField(read_only=True)
    mold = serializers.CharField(read_only=True)
    bars = serializers.IntegerField(read_only=True)
    products = serializers.ListField(child=serializers.CharField(), read_only=True)
    base = MoneyField(read_only=True, allow_null=True)
    changed = MoneyField(read_only=True, allow_null=True)
    difference = MoneyField(read_only=True, allow_null=True)
    share = ShareField(read_only=True, allow_null=True)
    by_change = serializers.ListField(child=MoneyField(allow_null=True), read_only=True)
    interaction = MoneyField(read_only=True, allow_null=True)
    missing = serializers.ListField(child=serializers.CharField(), read_only=True)
    reason = serializers.CharField(read_only=True)
    lines = MovedLineSerializer(many=True, read_only=True)


class NotMadeSerializer(StrictSerializer):
    """A recipe that cannot be costed in its mold, and why."""

    formula = serializers.CharField(read_only=True)
    mold = serializers.CharField(read_only=True)
    reason = serializers.CharField(read_only=True)


class MovedPriceSerializer(StrictSerializer):
    """A price of the list: the margin it keeps on replacement cost, and its floor, now and then.

    `restoring` is the lowest price that would keep the floor, where this one falls under it.
    """

    product = serializers.CharField(read_only=True)
    tier = serializers.CharField(read_only=True)
    from_quantity = serializers.IntegerField(read_only=True)
    price = MoneyField(read_only=True)
    margin = ShareField(read_only=True, min_value=None, allow_null=True)
    changed_margin = ShareField(read_only=True, min_value=None, allow_null=True)
    floor = MoneyField(read_only=True, allow_null=True)
    changed_floor = MoneyField(read_only=True, allow_null=True)
    was_under = serializers.BooleanField(read_only=True)
    is_under = serializers.BooleanField(read_only=True)
    restoring = MoneyField(read_only=True, allow_null=True)


class WhatIfAnswerSerializer(StrictSerializer):
    """What would move: recipes, the largest move first, and prices. `asked` counts all recipes."""

    on = serializers.DateField(read_only=True)
    basis = serializers.ChoiceField(choices=CHOICES, read_only=True)
    asked = serializers.IntegerField(read_only=True)
    moved = serializers.IntegerField(read_only=True)
    recipes = MovedRecipeSerializer(many=True, read_only=True)
    not_made = NotMadeSerializer(many=True, read_only=True)
    prices = MovedPriceSerializer(many=True, read_only=True)
    under_floor = serializers.IntegerField(read_only=True)
    notes = serializers.ListField(child=serializers.CharField(), read_only=True)


def shown_answer(
    answer: Answer, prices: Sequence[ChangedPrice], *, first: int, lines: bool
) -> dict[str, Any]:
    """An answer as `WhatIfAnswerSerializer` reads it."""
    effects = largest_first(answer.outcome.effects)
    return {
        "on": answer.question.on,
        "basis": answer.question.basis.value,
        "asked": len(answer.recipes),
        "moved": sum(1 for effect in effects if effect.difference),
        "recipes": [_recipe(answer, effect, lines=lines) for effect in effects[:first]],
        "not_made": [
            {
                "formula": each.recipe.formula.code,
                "mold": each.recipe.mold.code,
                "reason": each.reason,
            }
            for each in answer.not_made
        ],
        "prices": [_price(each) for each in prices],
        "under_floor": sum(1 for each in prices if each.is_under),
        "notes": answer.notes,
    }


def _recipe(answer: Answer, effect: Effect, *, lines: bool) -> dict[str, Any]:
    each = answer.recipes[effect.place]
    missing = _missing(answer, effect.place)
    known = effect.base is not None and effect.changed is not None
    return {
        "formula": each.recipe.formula.code,
        "name": each.recipe.formula.name,
        "version": each.outline.number,
        "mold": each.recipe.mold.code,
        "bars": each.outline.bars,
        "products": [product.code for product in each.recipe.products],
        "base": effect.base,
        "changed": effect.changed,
        "difference": effect.difference,
        "share": effect.share,
        "by_change": effect.alone,
        "interaction": effect.interaction,
        "missing": missing,
        "reason": answer.refused.get(effect.place, "" if known or missing else NO_PACKING),
        "lines": _lines(answer, effect.place) if lines else [],
    }


def _sides(answer: Answer, place: int) -> tuple[tuple[Sized, RecipeCost], ...]:
    """A recipe and its cost as things are, and with all changes."""
    return (
        (answer.base.recipes[place], answer.outcome.base[place]),
        (answer.together.recipes[place], answer.outcome.together[place]),
    )


def _missing(answer: Answer, place: int) -> list[str]:
    """The codes of materials that have no price, as things are or with all changes."""
    found = {pk for _, cost in _sides(answer, place) for pk in cost.bought.missing}
    return sorted(answer.materials[pk].code for pk in found)


def _bought(recipe: Sized, cost: RecipeCost) -> dict[int, int | None]:
    """What each need costs, in their order; None without a price."""
    return {pk: cost.bought.costs.get(pk) for pk in recipe.needs}


def _lines(answer: Answer, place: int) -> list[dict[str, Any]]:
    """What moves in a recipe's batch."""
    sides = _sides(answer, place)
    base, changed = (_bought(*side) for side in sides)
    rows: list[tuple[str, str, int | None, int | None]] = [
        (answer.materials[pk].code, answer.materials[pk].name, base.get(pk, 0), changed.get(pk, 0))
        for pk in {**base, **changed}
    ]
    for code, name in (
        ("making", "Making of blends"),
        ("labor", "Labor"),
        ("overhead", "Overhead"),
    ):
        now, then = (getattr(cost, code) for _, cost in sides)
        rows.append((code, name, now, then))
    return list(_moved(rows))


def _moved(
    rows: Iterable[tuple[str, str, int | None, int | None]],
) -> Iterable[dict[str, Any]]:
    for code, name, now, then in rows:
        if now != then:
            yield {"code": code, "name": name, "base": now, "changed": then}


def _price(each: ChangedPrice) -> dict[str, Any]:
    return {
        "product": each.entry.product.code,
        "tier": each.entry.tier.code,
        "from_quantity": each.entry.from_quantity,
        "price": each.entry.price,
        "margin": each.margin,
        "changed_margin": each.changed_margin,
        "floor": each.floor,
        "changed_floor": each.changed_floor,
        "was_under": each.was_under,
        "is_under": each.is_under,
        "restoring": each.restoring,
    }
