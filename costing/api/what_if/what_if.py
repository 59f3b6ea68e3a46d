"""What every recipe's bar would cost if prices, rates, yields or lye were others."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any, ClassVar

from django.utils import timezone
from rest_framework import serializers

from costing.domain.bar_cost.conversion import LABOR_EFFORTS, Effort
from costing.domain.bar_cost.recipe_cost import (
    PACKING,
    PACKING_NOT_SAID,
    RecipeCost,
    Sized,
)
from costing.domain.rates.rates import RateKind
from costing.domain.what_if.effects import Effect, largest_first
from costing.errors import WhatIfRefusal
from costing.queries.bar_cost.price_basis import CHOICES, PriceBasis
from costing.queries.what_if.answer import ChangedPrice, changed_prices
from costing.queries.what_if.named import MOST_CHANGES, Named
from costing.queries.what_if.reading import NotMade
from costing.queries.what_if.what_if import Answer, Question, what_if
from costing.services.rates.rates import MAX_RATE
from recipes.domain.chemistry.formula_check import GREATEST_SUPERFAT, WEAKEST_LYE
from recipes.domain.chemistry.lye import STRONGEST_LYE
from studio.foundation.errors import Faults
from studio.foundation.money import PER_UNIT
from studio.foundation.roles import Capability
from studio.foundation.units.conversion import round_half_even
from studio.foundation.units.registry import Dimension
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import ComputeView
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField, ShareField
from studio.web.serializer_fields.quantities import QuantityField

NO_PACKING = "What packs it is neither offered nor held."
NOT_SAID = "Nobody said how it is packed."
MOST_NAMES = 1_000
MOST_SHOWN = 10_000
SHOWN = 1_000
LEAST, MOST = Decimal(-1), Decimal(10)
LEAST_GOOD = Decimal("0.01")
#: What a change may be of, and what it may say beside that; the first that is given is its subject.
SAYS: Mapping[str, frozenset[str]] = {
    "material": frozenset({"by", "price", "per"}),
    "offer": frozenset({"by", "price", "withdrawn"}),
    "rate": frozenset({"by", "amount"}),
    "good_bars": frozenset({"formulas"}),
    "superfat": frozenset({"formulas", "lye_concentration"}),
    "lye_concentration": frozenset({"formulas"}),
}
#: Of these exactly one says how a material, an offer or a rate changes.
HOW = {
    "material": ("by", "price"),
    "offer": ("by", "price", "withdrawn"),
    "rate": ("by", "amount"),
}
RATES = [(kind.value, kind.value) for kind in RateKind]
ASKED_BASES = [(b.value, b.value) for b in reversed(PriceBasis) if b.look_up.buy is not None]


class MovedLineSerializer(StrictSerializer):
    """A line of a batch's cost that moves: a material bought, labor, overhead, making of blends."""

    code = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    base = MoneyField(read_only=True, allow_null=True)
    changed = MoneyField(read_only=True, allow_null=True)


class MovedRecipeSerializer(StrictSerializer):
    """A recipe's bar as it is and as it would be, packing included.

    `by_change` are the differences by each change alone, in their order; `interaction` is what all
    of them do together beyond that sum. What is null lacks a price (`missing` names the materials)
    or a rate (`notes`), or cannot be made so (`reason`); `base_at_least` and `changed_at_least` are
    what is known. A difference is known also where both costs lack only the rates of the same work.
    """

    formula = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    version = serializers.IntegerField(read_only=True)
    mold = serializers.CharField(read_only=True)
    bars = serializers.IntegerField(read_only=True)
    products = serializers.ListField(child=serializers.CharField(), read_only=True)
    base = MoneyField(read_only=True, allow_null=True)
    changed = MoneyField(read_only=True, allow_null=True)
    base_at_least = MoneyField(read_only=True, allow_null=True)
    changed_at_least = MoneyField(read_only=True, allow_null=True)
    difference = MoneyField(read_only=True, allow_null=True)
    share = ShareField(read_only=True, allow_null=True)
    by_change = serializers.ListField(child=MoneyField(allow_null=True), read_only=True)
    interaction = MoneyField(read_only=True, allow_null=True)
    missing = serializers.ListField(child=serializers.CharField(), read_only=True)
    reason = serializers.CharField(read_only=True)
    lines = MovedLineSerializer(many=True, read_only=True)


class NotMadeSerializer(AnswerSerializer):
    """A recipe that cannot be costed in its mold, and why."""

    shows = NotMade
    says = ("recipe.formula.code as formula", "recipe.mold.code as mold", "reason")


class MovedPriceSerializer(AnswerSerializer):
    """A price of the list: the margin it keeps on replacement cost, and its floor, now and then.

    `restoring` is the lowest price that would keep the floor, where this one falls under it. Where
    some cost is not known, it and the floor are null, and `floor_at_least` is the least that it can
    be: below that a price is under its floor for certain.
    """

    shows = ChangedPrice
    says = (
        *("entry.product.code as product", "entry.tier.code as tier", "entry.from_quantity"),
        *("entry.price", "margin", "changed_margin", "floor", "changed_floor"),
        *("floor_at_least", "changed_floor_at_least", "was_under", "is_under", "restoring"),
    )


class WhatIfAnswerSerializer(StrictSerializer):
    """What would move: recipes, the largest move first, and prices. `asked` counts all recipes."""

    on = serializers.DateField(read_only=True)
    basis = serializers.ChoiceField(choices=CHOICES, read_only=True)
    asked = serializers.IntegerField(read_only=True)
    moved = serializers.IntegerField(read_only=True)
    unknown = serializers.IntegerField(
        read_only=True, help_text="Recipes of which it is not known how far they move."
    )
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
        "unknown": sum(1 for effect in effects if effect.difference is None),
        "recipes": [_recipe(answer, effect, lines=lines) for effect in effects[:first]],
        "not_made": answer.not_made,
        "prices": prices,
        "under_floor": sum(1 for each in prices if each.is_under),
        "notes": answer.notes,
    }


def _recipe(answer: Answer, effect: Effect, *, lines: bool) -> dict[str, Any]:
    each = answer.recipes[effect.place]
    missing = _missing(answer, effect.place)
    costs = [cost for _, cost in _sides(answer, effect.place)]
    reason = NO_PACKING if any(cost.lacks(PACKING) for cost in costs) and not missing else ""
    if any(cost.lacks(PACKING_NOT_SAID) for cost in costs):
        reason = NOT_SAID
    return {
        "formula": each.recipe.formula.code,
        "name": each.recipe.formula.name,
        "version": each.outline.number,
        "mold": each.recipe.mold.code,
        "bars": each.outline.bars,
        "products": [product.code for product in each.recipe.products],
        "base": effect.base,
        "changed": effect.changed,
        "base_at_least": effect.base_at_least,
        "changed_at_least": effect.changed_at_least,
        "difference": effect.difference,
        "share": effect.share,
        "by_change": effect.alone,
        "interaction": effect.interaction,
        "missing": missing,
        "reason": answer.refused.get(effect.place, reason),
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
    for code, name, efforts in _WORK:
        now, then = (None if cost.lacks(*efforts) else getattr(cost, code) for _, cost in sides)
        rows.append((code, name, now, then))
    return list(_moved(rows))


_LABOR = tuple(effort.value for effort in LABOR_EFFORTS)
_OVERHEAD = tuple(effort.value for effort in Effort if effort not in LABOR_EFFORTS)
_WORK = (
    ("making", "Making of blends", (*_LABOR, *_OVERHEAD)),
    ("labor", "Labor", _LABOR),
    ("overhead", "Overhead", _OVERHEAD),
)


def _moved(
    rows: Iterable[tuple[str, str, int | None, int | None]],
) -> Iterable[dict[str, Any]]:
    for code, name, now, then in rows:
        if now != then:
            yield {"code": code, "name": name, "base": now, "changed": then}


class ChangeSerializer(StrictSerializer):
    """One change: of a `material` ("by": "30 %", or a `price` for each `per`, freight and all, in
    place of every offer), of an `offer` (`by`, another `price` of its pack, or `withdrawn`), of a
    `rate` (`by` or its `amount`), of the share of bars that turn out good, or of superfat and lye
    concentration. The last two are meant for all recipes, or for `formulas`.
    """

    material = serializers.SlugField(max_length=40, required=False)
    offer = serializers.SlugField(max_length=40, required=False)
    rate = serializers.ChoiceField(choices=RATES, required=False)
    by = ShareField(min_value=LEAST, max_value=MOST, required=False)
    price = MoneyField(required=False)
    amount = MoneyField(required=False)
    per = QuantityField(dimensions=(Dimension.MASS, Dimension.COUNT), required=False)
    withdrawn = serializers.BooleanField(required=False)
    good_bars = ShareField(min_value=LEAST_GOOD, required=False)
    superfat = ShareField(max_value=GREATEST_SUPERFAT, required=False)
    lye_concentration = ShareField(min_value=WEAKEST_LYE, max_value=STRONGEST_LYE, required=False)
    formulas = serializers.ListField(
        child=serializers.SlugField(max_length=40),
        required=False,
        allow_empty=False,
        max_length=MOST_NAMES,
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        subject = next((name for name in SAYS if name in attrs), None)
        if subject is None:
            raise WhatIfRefusal(
                "Say what changes: a material, an offer, a rate, good_bars, superfat or"
                " lye_concentration."
            )
        faults = Faults()
        for name in attrs.keys() - SAYS[subject] - {subject}:
            faults.add("does-not-fit", f"This says nothing about a change of {subject}.", name)
        _check_how(subject, attrs, faults)
        if attrs.get("price", 0) and subject == "material":
            per = attrs.get("per")
            if per is None or round_half_even(per.base) < 1:
                faults.add("per-missing", 'Say for how much that is: "per": "1 kg".', "per")
        if attrs.get("amount", 0) > MAX_RATE:
            faults.add("too-large", f"A rate is at most {MAX_RATE // PER_UNIT}.", "amount")
        faults.raise_if_any(WhatIfRefusal)
        return attrs


class WhatIfSerializer(StrictSerializer):
    """Changes, asked about one by one and together.

    Recipes are those of the active products in their products' molds, unless `molds` are stated:
    then every active recipe in each of them; `formulas` leaves out all others. `first` recipes are
    shown, those that move most. `lines` shows what moved in each, for the whole batch.
    """

    changes = ChangeSerializer(  # type: ignore[call-arg]
        many=True, allow_empty=False, max_length=MOST_CHANGES
    )
    basis = serializers.ChoiceField(choices=ASKED_BASES, default=PriceBasis.REPLACEMENT.value)
    on = serializers.DateField(required=False, input_formats=["%Y-%m-%d"])
    formulas = serializers.ListField(
        child=serializers.SlugField(max_length=40), required=False, max_length=MOST_NAMES
    )
    molds = serializers.ListField(
        child=serializers.SlugField(max_length=40), required=False, max_length=20
    )
    first = serializers.IntegerField(min_value=1, max_value=MOST_SHOWN, default=SHOWN)
    lines = serializers.BooleanField(default=False)


class WhatIfView(ComputeView):
    """How far each recipe's bar would move by changes of prices, rates, yields or lye, and which
    prices of the list would fall under their floor. Stores nothing."""

    given_serializer = WhatIfSerializer
    answer_serializer = WhatIfAnswerSerializer
    rules: ClassVar[Rules] = {"post": (Capability.READ, Capability.COMPUTE, Capability.SEE_COSTS)}

    def compute(self, given: Any) -> Any:
        question = Question(
            changes=[_named(each) for each in given["changes"]],
            on=given.get("on") or timezone.localdate(),
            basis=PriceBasis(given["basis"]),
            formulas=given.get("formulas", ()),
            molds=given.get("molds", ()),
        )
        answer = what_if(question)
        return shown_answer(
            answer, changed_prices(answer), first=given["first"], lines=given["lines"]
        )


def _check_how(subject: str, attrs: Mapping[str, Any], faults: Faults) -> None:
    ways = HOW.get(subject)
    if ways is None:
        return
    said = [name for name in ways if attrs.get(name) not in (None, False)]
    if len(said) != 1:
        faults.add("say-how", f"Say how it changes, by one of: {', '.join(ways)}.", ways[0])


def _named(given: Mapping[str, Any]) -> Named:
    per = given.get("per")
    rate = given.get("rate")
    return Named(
        material=given.get("material", ""),
        offer=given.get("offer", ""),
        rate=None if rate is None else RateKind(rate),
        by=given.get("by"),
        price=given.get("price", given.get("amount")),
        per=None if per is None else round_half_even(per.base),
        per_count=per is not None and per.dimension is Dimension.COUNT,
        withdrawn=given.get("withdrawn", False),
        good_bars=given.get("good_bars"),
        superfat=given.get("superfat"),
        lye_concentration=given.get("lye_concentration"),
        formulas=given.get("formulas", ()),
    )
