"""What every recipe's bar would cost if prices, rates, yields or lye were others."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, ClassVar

from django.utils import timezone
from rest_framework import serializers

from costing.api.what_if.answers import WhatIfAnswerSerializer, shown_answer
from costing.domain.rates.rates import RateKind
from costing.errors import WhatIfRefusal
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.what_if.named import MOST_CHANGES, Named
from costing.queries.what_if.prices import changed_prices
from costing.queries.what_if.what_if import Question, what_if
from costing.services.rates.rates import MAX_RATE
from recipes.domain.chemistry.alkali_check import GREATEST_SUPERFAT, WEAKEST_LYE
from recipes.domain.chemistry.lye import STRONGEST_LYE
from studio.foundation.errors import Faults
from studio.foundation.money import PER_UNIT
from studio.foundation.roles import Capability
from studio.foundation.units.conversion import round_half_even
from studio.foundation.units.registry import Dimension
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import ComputeView
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField, ShareField
from studio.web.serializer_fields.quantities import QuantityField

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
ASKED_BASES = [(b.value, b.value) for b in reversed(PriceBasis) if b.look_up.buy is not None]


class ChangeSerializer(StrictSerializer):
    """One change: of a `material` ("by": "30 %", or a `price` for each `per`, freight and all, in
    place of every offer), of an `offer` (`by`, another `price` of its pack, or `withdrawn`), of a
    `rate` (`by` or its `amount`), of the share of bars that turn out good, or of superfat and lye
    concentration. The last two are meant for all recipes, or for `formulas`.
    """

    material = serializers.SlugField(max_length=40, required=False)
    offer = serializers.SlugField(max_length=40, required=False)
    rate = serializers.ChoiceField(choices=[(k.value, k.value) for k in RateKind], required=False)
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
