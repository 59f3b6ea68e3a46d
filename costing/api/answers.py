"""How costs are written: by line, by kind, and by bar."""

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from rest_framework import serializers

from costing.domain.bar_cost.bar_cost import BarCost, BatchCost, CostKind, CostLine
from costing.domain.bar_cost.waterfall import bar_waterfall
from costing.queries.bar_cost.batches import BatchCosting
from costing.queries.bar_cost.plans import PlanCosting
from costing.queries.bar_cost.price_basis import CHOICES
from studio.foundation.money import PER_UNIT
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import MoneyField
from studio.web.serializer_fields.writing import base_json, stock_json

#: The international avoirdupois ounce (NIST Handbook 44, appendix C) is 28.349 523 125 g.
NG_PER_OUNCE = 28_349_523_125


class ShownAmountSerializer(StrictSerializer):
    """An amount with its unit: g, each or mL of what is used, min of labor."""

    amount = serializers.CharField(read_only=True)
    unit = serializers.CharField(read_only=True)


class ShownLineSerializer(StrictSerializer):
    """One line of a cost. `origin` is the lot, the lots or the offer that its cost comes from.

    `per_bar` are the parts of the cost of one bar; they add up to it exactly.
    """

    kind = serializers.ChoiceField(choices=[(k.value, k.value) for k in CostKind], read_only=True)
    code = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    origin = serializers.CharField(read_only=True)
    quantity = ShownAmountSerializer(read_only=True, allow_null=True)
    cost = MoneyField(read_only=True)
    per_bar = MoneyField(read_only=True, allow_null=True)


class StepSerializer(StrictSerializer):
    """A step of a waterfall: what it adds, and what it comes to with all before it."""

    kind = serializers.ChoiceField(choices=[(k.value, k.value) for k in CostKind], read_only=True)
    name = serializers.CharField(source="label", read_only=True)
    amount = MoneyField(read_only=True, allow_negative=True)
    total = MoneyField(read_only=True, allow_negative=True)


class ShownCostSerializer(StrictSerializer):
    """A cost: its total, by kind, by line, and for one good bar.

    `per_bar` is rounded to the last decimal kept; `per_bar_exact` is the same as an exact fraction
    of the currency ("155/7"). Both are null where there is no good bar. An unusual loss is not in
    the cost of the good bars, but apart (IAS 2 paragraph 16).
    """

    total = MoneyField(read_only=True)
    by_kind = serializers.DictField(child=MoneyField(), read_only=True)
    lines = ShownLineSerializer(many=True, read_only=True)
    bars = serializers.IntegerField(read_only=True)
    cost_of_good_bars = MoneyField(read_only=True)
    abnormal_loss = MoneyField(read_only=True)
    per_bar = MoneyField(read_only=True, allow_null=True)
    per_bar_exact = serializers.CharField(read_only=True, allow_null=True)
    waterfall = StepSerializer(many=True, read_only=True)


class BarWeightSerializer(StrictSerializer):
    """What a bar weighs when cured, and what a gram and an ounce of it cost.

    Weighed in the cure ("weighed"), else as cut ("cut") or poured ("poured") less the recipe's
    cure loss. Money is rounded to the last decimal kept; the exact cost of a gram is a fraction.
    """

    weight = ShownAmountSerializer(read_only=True)
    by = serializers.CharField(read_only=True)
    cost_per_gram = MoneyField(read_only=True)
    cost_per_gram_exact = serializers.CharField(read_only=True)
    cost_per_ounce = MoneyField(read_only=True)


class BatchCostSerializer(ShownCostSerializer):
    """What a batch cost. While `provisional`, packaging and labor are as planned, since they get
    into the books when the bars are released."""

    batch = serializers.CharField(read_only=True)
    state = serializers.CharField(read_only=True)
    poured_on = serializers.DateField(read_only=True)
    rejects = serializers.IntegerField(read_only=True)
    provisional = serializers.BooleanField(read_only=True)
    notes = serializers.ListField(child=serializers.CharField(), read_only=True)
    bar_weight = BarWeightSerializer(read_only=True, allow_null=True)


class MissingPriceSerializer(StrictSerializer):
    """An amount of a material that has no price on this basis; it is not in the cost."""

    material = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    amount = ShownAmountSerializer(read_only=True)
    reason = serializers.CharField(read_only=True)


class BasisCostSerializer(ShownCostSerializer):
    """What a plan would cost on one price basis; too low by what is `missing`."""

    basis = serializers.ChoiceField(choices=CHOICES, read_only=True)
    complete = serializers.BooleanField(read_only=True)
    missing = MissingPriceSerializer(many=True, read_only=True)
    notes = serializers.ListField(child=serializers.CharField(), read_only=True)


class PlanCostSerializer(StrictSerializer):
    """What a recipe would cost at a size, on each basis asked for."""

    formula = serializers.CharField(read_only=True)
    version = serializers.IntegerField(read_only=True)
    on = serializers.DateField(read_only=True)
    costs = BasisCostSerializer(many=True, read_only=True)


def shown_cost(cost: BatchCost, bar: BarCost | None, *, bars: int) -> dict[str, Any]:
    """A cost as `ShownCostSerializer` reads it."""
    parts: Iterable[int | None] = (
        [None] * len(cost.lines) if bar is None else [line.per_bar for line in bar.lines]
    )
    return {
        "total": cost.total,
        "by_kind": {kind.value: cost.of(kind) for kind in CostKind},
        "lines": [_line(line, part) for line, part in zip(cost.lines, parts, strict=True)],
        "bars": bars,
        "cost_of_good_bars": cost.total if bar is None else bar.cost_of_good,
        "abnormal_loss": 0 if bar is None else bar.abnormal_loss,
        "per_bar": None if bar is None else bar.per_bar,
        "per_bar_exact": None if bar is None else str(bar.exact / Fraction(PER_UNIT)),
        "waterfall": () if bar is None else bar_waterfall(bar),
    }


def shown_batch(costing: BatchCosting) -> dict[str, Any]:
    """A made batch's cost as `BatchCostSerializer` reads it."""
    return {
        **shown_cost(costing.cost, costing.bar, bars=costing.bars),
        "batch": costing.code,
        "state": costing.state,
        "poured_on": costing.on,
        "rejects": costing.rejects,
        "provisional": costing.provisional,
        "notes": costing.notes,
        "bar_weight": _weight(costing),
    }


def _weight(costing: BatchCosting) -> dict[str, Any] | None:
    cured, bar, per_gram = costing.bar_weight, costing.bar, costing.per_gram
    if cured is None or bar is None or per_gram is None:
        return None
    return {
        "weight": base_json(round(cured.weight), "g"),
        "by": cured.by,
        "cost_per_gram": round(per_gram),
        "cost_per_gram_exact": str(per_gram / PER_UNIT),
        "cost_per_ounce": round(bar.exact / cured.weight * NG_PER_OUNCE),
    }


def shown_basis(costing: PlanCosting) -> dict[str, Any]:
    """A plan's cost on one basis as `BasisCostSerializer` reads it."""
    return {
        **shown_cost(costing.cost, costing.bar, bars=costing.bars),
        "basis": costing.basis.value,
        "complete": costing.complete,
        "missing": [
            {
                "material": each.material.code,
                "name": each.material.name,
                "amount": stock_json(each.amount, counted=each.material.counted),
                "reason": each.reason,
            }
            for each in costing.missing
        ],
        "notes": costing.notes,
    }


def _line(line: CostLine, per_bar: int | None) -> dict[str, Any]:
    return {
        "kind": line.kind.value,
        "code": line.code,
        "name": line.name,
        "origin": line.origin,
        "quantity": _amount(line),
        "cost": line.cost,
        "per_bar": per_bar,
    }


def _amount(line: CostLine) -> dict[str, str] | None:
    if not line.unit:
        return None
    if line.unit == "min":
        return {"amount": str(line.quantity), "unit": "min"}
    return base_json(line.quantity, line.unit)
