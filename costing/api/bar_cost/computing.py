"""The arithmetic of costs and prices alone, for programs: nothing is looked up or stored."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any, ClassVar

from rest_framework import serializers

from costing.api.bar_cost.costs import ShownCostSerializer, shown_cost
from costing.domain.bar_cost.bar_cost import CostKind, CostLine, bar_cost, batch_cost
from costing.domain.prices.pricing import (
    HIGHEST_MARKUP,
    margin_of,
    markup_of,
    price_for_margin,
    price_for_markup,
)
from costing.domain.rates.rates import Rates
from costing.errors import CostNotKnown, PriceNotPossible
from costing.services.rates.rates import MAX_RATE
from recipes.domain.weighing import MOST_BARS
from studio.foundation.errors import Faults
from studio.foundation.money import MAX_MONEY, PER_UNIT
from studio.foundation.roles import Capability
from studio.foundation.units.conversion import round_half_even
from studio.foundation.units.quantity import Quantity
from studio.foundation.units.registry import Dimension
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import ComputeView
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField, ShareField
from studio.web.serializer_fields.quantities import QuantityField

COSTS_ALONE = (Capability.COMPUTE, Capability.SEE_COSTS)
BOUGHT_BY = (Dimension.MASS, Dimension.VOLUME, Dimension.COUNT)
SHOWN_IN = {Dimension.MASS: "g", Dimension.VOLUME: "mL", Dimension.COUNT: "each"}
MOST_LINES = 500
MOST_MINUTES = 1_000_000
#: Name of a fault's field in the rules -> name in the request.
PRICE_NAMES = {
    "cost": "cost_per_bar",
    "margin": "margin_of_price",
    "markup": "markup_on_cost",
    "step": "price_step",
}


class UsedSerializer(StrictSerializer):
    """So much of something, at a `price` for each `per` ("12.50" per "1 kg")."""

    name = serializers.CharField(max_length=120)
    amount = QuantityField(dimensions=BOUGHT_BY)
    price = MoneyField()
    per = QuantityField(dimensions=BOUGHT_BY)


class ComputeCostSerializer(StrictSerializer):
    """A batch in plain numbers. Usual rejects cost the good bars more; abnormal ones are a loss.

    `labor_per_hour` and `overhead_per_labor_hour` are for 60 minutes of labor; `recovered` is what
    trimmings that are kept are worth. Overhead that is left out is no part of the sum; labor
    without its minutes or `labor_per_hour` is not known, and neither is the sum (0 is an answer).
    """

    materials = UsedSerializer(many=True, max_length=MOST_LINES)  # type: ignore[call-arg]
    packaging = UsedSerializer(  # type: ignore[call-arg]
        many=True, max_length=MOST_LINES, required=False
    )
    labor_minutes = serializers.IntegerField(
        min_value=0, max_value=MOST_MINUTES, default=None, allow_null=True
    )
    labor_per_hour = MoneyField(default=None, allow_null=True)
    overhead_per_batch = MoneyField(default=0)
    overhead_per_labor_hour = MoneyField(default=0)
    recovered = MoneyField(default=0)
    good_bars = serializers.IntegerField(min_value=1, max_value=MOST_BARS)
    normal_rejects = serializers.IntegerField(min_value=0, max_value=MOST_BARS, default=0)
    abnormal_rejects = serializers.IntegerField(min_value=0, max_value=MOST_BARS, default=0)


class ComputeCostView(ComputeView):
    """The cost of a batch and of a bar from given amounts, prices and rates."""

    given_serializer = ComputeCostSerializer
    answer_serializer = ShownCostSerializer
    rules: ClassVar[Rules] = {"post": COSTS_ALONE}

    def compute(self, given: Any) -> Any:
        faults = Faults()
        materials = _lines(given["materials"], CostKind.MATERIAL, "materials", faults)
        packaging = _lines(given.get("packaging", ()), CostKind.PACKAGING, "packaging", faults)
        rates = {name: given[name] for name in _RATES}
        for name, rate in rates.items():
            if rate is not None and rate > MAX_RATE:
                faults.add("too-large", f"A rate is at most {MAX_RATE // PER_UNIT}.", name)
        if sum(line.cost for line in (*materials, *packaging)) > MAX_MONEY:
            faults.add("too-large", "Together that costs more than can be kept.", "materials")
        faults.raise_if_any(CostNotKnown)
        cost = batch_cost(
            materials=materials,
            packaging=packaging,
            labor_minutes=given["labor_minutes"],
            rates=Rates(**rates),
            recovered=given["recovered"],
        )
        bar = bar_cost(
            cost,
            good_bars=given["good_bars"],
            normal_rejects=given["normal_rejects"],
            abnormal_rejects=given["abnormal_rejects"],
        )
        return shown_cost(cost, bar, bars=given["good_bars"])


class ComputePriceSerializer(StrictSerializer):
    """Give one of the two: the margin is a share of the price, the markup a share of the cost.

    At a cost of 2.00, a margin of 50 % asks 4.00 and a markup of 50 % asks 3.00. `price_step` is
    the smallest step of prices ("0.05"); the price is the lowest on it that keeps the share.
    """

    cost_per_bar = MoneyField()
    margin_of_price = ShareField(required=False)
    markup_on_cost = ShareField(required=False, max_value=HIGHEST_MARKUP)
    price_step = MoneyField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("margin_of_price" in attrs) == ("markup_on_cost" in attrs):
            raise PriceNotPossible(
                "Give either the margin of the price or the markup on the cost.",
                field="margin_of_price",
            )
        return attrs


class ShownPriceSerializer(StrictSerializer):
    """A price, and what it means: margin of the price, markup on the cost, profit on a bar."""

    price = MoneyField(read_only=True)
    cost_per_bar = MoneyField(read_only=True)
    profit_per_bar = MoneyField(read_only=True)
    margin_of_price = ShareField(read_only=True)
    markup_on_cost = ShareField(read_only=True)


class ComputePriceView(ComputeView):
    """A wholesale price for a cost and a wanted margin or markup."""

    given_serializer = ComputePriceSerializer
    answer_serializer = ShownPriceSerializer
    rules: ClassVar[Rules] = {"post": COSTS_ALONE}

    def compute(self, given: Any) -> Any:
        cost, step = given["cost_per_bar"], given.get("price_step", 1)
        try:
            if "margin_of_price" in given:
                price = price_for_margin(cost, given["margin_of_price"], step=step)
            else:
                price = price_for_markup(cost, given["markup_on_cost"], step=step)
        except PriceNotPossible as refusal:
            named = [replace(f, field=PRICE_NAMES.get(f.field, f.field)) for f in refusal.faults]
            raise PriceNotPossible(faults=named) from refusal
        return {
            "price": price,
            "cost_per_bar": cost,
            "profit_per_bar": price - cost,
            "margin_of_price": margin_of(price, cost),
            "markup_on_cost": markup_of(price, cost),
        }


_RATES = ("labor_per_hour", "overhead_per_batch", "overhead_per_labor_hour")


def _lines(
    used: Iterable[Mapping[str, Any]], kind: CostKind, under: str, faults: Faults
) -> list[CostLine]:
    """The lines that can be costed; the others are faults below `under`."""
    lines: list[CostLine] = []
    for index, each in enumerate(used):
        cost = _cost(each, f"{under}.{index}", faults)
        if cost is not None:
            amount: Quantity = each["amount"]
            lines.append(
                CostLine(
                    kind=kind,
                    code="",
                    name=each["name"],
                    cost=cost,
                    quantity=round_half_even(amount.base),
                    unit=SHOWN_IN[amount.dimension],
                )
            )
    return lines


def _cost(used: Mapping[str, Any], path: str, faults: Faults) -> int | None:
    amount, per = used["amount"], used["per"]
    if amount.dimension is not per.dimension:
        faults.add(
            "wrong-dimension",
            f"The amount is a {amount.dimension}, so its price is not by {per.dimension}.",
            f"{path}.per",
        )
        return None
    if per.base <= 0 or amount.base < 0:
        name = "per" if per.base <= 0 else "amount"
        faults.add("not-positive", "It must be above zero.", f"{path}.{name}")
        return None
    cost = round_half_even(Fraction(used["price"]) * amount.base / per.base)
    if cost > MAX_MONEY:
        faults.add("too-large", "That costs more than can be kept.", f"{path}.price")
        return None
    return cost
