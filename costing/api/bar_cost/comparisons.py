"""Costs held against each other: batches, molds, and what was made against its plan."""

from collections.abc import Sequence
from fractions import Fraction
from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from costing.api.bar_cost.costs import ShownAmountSerializer
from costing.api.rows import LOOK
from costing.domain.bar_cost.bar_cost import CostKind
from costing.domain.bar_cost.conversion import SECONDS_PER_MINUTE
from costing.domain.bar_cost.variances import InputVariance, Variances
from costing.queries.bar_cost.price_basis import CHOICES, PriceBasis
from costing.queries.bar_cost.recipe_costs import (
    MoldCost,
    MoldCosts,
    MoldSpread,
    Saving,
    cost_spread,
    mold_costs,
)
from costing.queries.bar_cost.variances import BatchVariances, variances_of
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import StudioView
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField
from studio.web.serializer_fields.writing import base_json

USUAL_LAST, MOST_LAST = 10, 200


class MadeCostSerializer(StrictSerializer):
    """A cured batch: what its good bars cost in all, and each of them."""

    batch = serializers.CharField()
    version = serializers.IntegerField()
    poured_on = serializers.DateField()
    bars = serializers.IntegerField()
    cost = MoneyField()
    per_bar = MoneyField()


class MoldSpreadSerializer(StrictSerializer):
    """The spread of the cost of a bar over the batches of one mold (null: of none).

    `deviation` is the sample standard deviation (n - 1), null for a single batch.
    """

    mold = serializers.CharField(allow_null=True)
    count = serializers.IntegerField()
    mean = MoneyField()
    lowest = MoneyField()
    highest = MoneyField()
    median = MoneyField()
    deviation = MoneyField(allow_null=True)
    batches = MadeCostSerializer(many=True)


class SpreadSerializer(StrictSerializer):
    """The spread mold by mold, each over the last so many cured batches."""

    formula = serializers.CharField()
    last = serializers.IntegerField()
    molds = MoldSpreadSerializer(many=True)


class SavingSerializer(StrictSerializer):
    """What a bar costs less than in the next smaller mold; `set_up` of it by spreading set-up."""

    against = serializers.CharField()
    total = MoneyField(allow_negative=True)
    by_kind = serializers.DictField(child=MoneyField(allow_negative=True))
    set_up = MoneyField(allow_negative=True)


class MoldCostSerializer(StrictSerializer):
    """A batch in a mold; too low by what has no price where it is not `complete`."""

    mold = serializers.CharField()
    name = serializers.CharField()
    bars = serializers.IntegerField()
    total = MoneyField()
    per_bar = MoneyField()
    by_kind = serializers.DictField(child=MoneyField())
    saving = SavingSerializer(allow_null=True)
    complete = serializers.BooleanField()
    missing = serializers.ListField(child=serializers.CharField())


class LeftOutSerializer(StrictSerializer):
    """A mold in which the recipe cannot be made into bars, and why."""

    mold = serializers.CharField()
    reason = serializers.CharField()


class MoldCostsSerializer(StrictSerializer):
    """A recipe in every mold in use, from the fewest bars to the most."""

    formula = serializers.CharField()
    version = serializers.IntegerField()
    basis = serializers.ChoiceField(choices=CHOICES)
    on = serializers.DateField()
    molds = MoldCostSerializer(many=True)
    left_out = LeftOutSerializer(many=True)


class InputVarianceSerializer(StrictSerializer):
    """An input: what it cost more than planned is `price` (of labor: rate) and `usage` (of labor:
    efficiency). Without `priced` no price was known at planning, and the one paid stands in."""

    kind = serializers.ChoiceField(choices=[(k.value, k.value) for k in CostKind])
    code = serializers.CharField()
    name = serializers.CharField()
    planned = ShownAmountSerializer()
    planned_cost = MoneyField(allow_negative=True)
    actual = ShownAmountSerializer()
    actual_cost = MoneyField(allow_negative=True)
    price = MoneyField(allow_negative=True)
    usage = MoneyField(allow_negative=True)
    priced = serializers.BooleanField()


class VarianceSumsSerializer(StrictSerializer):
    """The variances by what they come from; they add up to the total exactly."""

    material_price = MoneyField(allow_negative=True)
    material_usage = MoneyField(allow_negative=True)
    labor_rate = MoneyField(allow_negative=True)
    labor_efficiency = MoneyField(allow_negative=True)
    overhead_price = MoneyField(allow_negative=True)
    overhead_usage = MoneyField(allow_negative=True)
    recovered = MoneyField(allow_negative=True)
    yield_variance = MoneyField(allow_negative=True)
    total = MoneyField(allow_negative=True)


class VariancesSerializer(StrictSerializer):
    """A batch against its plan. Above zero is unfavorable: it cost more.

    `standard_cost` is the plan's cost, `allowed` what of it the good bars are worth; the sums add
    up to `actual_cost` less `allowed`. `abnormal_loss` is in the actual cost, and an expense.
    """

    batch = serializers.CharField()
    planned_for = serializers.DateField()
    cured_on = serializers.DateField(allow_null=True)
    planned_bars = serializers.IntegerField()
    good_bars = serializers.IntegerField()
    standard_cost = MoneyField(allow_negative=True)
    allowed = MoneyField(allow_negative=True)
    actual_cost = MoneyField(allow_negative=True)
    abnormal_loss = MoneyField()
    sums = VarianceSumsSerializer()
    inputs = InputVarianceSerializer(many=True)
    notes = serializers.ListField(child=serializers.CharField())


def shown_spread(formula: str, last: int, found: Sequence[MoldSpread]) -> dict[str, Any]:
    """Spreads as `SpreadSerializer` reads them; means are rounded to the last decimal kept."""
    molds = [
        {
            "mold": each.mold,
            "count": each.spread.count,
            "mean": round(each.spread.mean),
            "lowest": each.spread.lowest,
            "highest": each.spread.highest,
            "median": round(each.spread.median),
            "deviation": None if each.spread.deviation is None else round(each.spread.deviation),
            "batches": each.batches,
        }
        for each in found
    ]
    return {"formula": formula, "last": last, "molds": molds}


def shown_molds(found: MoldCosts) -> dict[str, Any]:
    """Molds as `MoldCostsSerializer` reads them."""
    return {
        "formula": found.formula,
        "version": found.version,
        "basis": found.basis.value,
        "on": found.on,
        "molds": [_mold(each) for each in found.molds],
        "left_out": [{"mold": mold, "reason": reason} for mold, reason in found.left_out.items()],
    }


def shown_variances(found: BatchVariances) -> dict[str, Any]:
    """Variances as `VariancesSerializer` reads them."""
    sums = found.found
    return {
        "batch": found.code,
        "planned_for": found.planned_for,
        "cured_on": found.cured_on,
        "planned_bars": sums.planned_bars,
        "good_bars": sums.good_bars,
        "standard_cost": sums.planned_cost,
        "allowed": sums.allowed,
        "actual_cost": sums.actual_cost,
        "abnormal_loss": found.abnormal_loss,
        "sums": _sums(sums),
        "inputs": [_input(each) for each in sums.inputs],
        "notes": found.notes,
    }


def _mold(each: MoldCost) -> dict[str, Any]:
    return {
        "mold": each.mold,
        "name": each.name,
        "bars": each.bars,
        "total": each.costing.cost.total,
        "per_bar": each.per_bar,
        "by_kind": _by_kind(each.by_kind),
        "saving": None if each.saving is None else _saving(each.saving),
        "complete": each.costing.complete,
        "missing": [missing.material.name for missing in each.costing.missing],
    }


def _saving(saving: Saving) -> dict[str, Any]:
    return {
        "against": saving.against,
        "total": saving.total,
        "by_kind": _by_kind(saving.by_kind),
        "set_up": saving.set_up,
    }


def _by_kind(amounts: Any) -> dict[str, int]:
    return {CostKind(kind).value: amount for kind, amount in amounts.items()}


def _sums(found: Variances) -> dict[str, int]:
    goods = (CostKind.MATERIAL, CostKind.PACKAGING)
    return {
        "material_price": found.price(*goods),
        "material_usage": found.usage(*goods),
        "labor_rate": found.price(CostKind.LABOR),
        "labor_efficiency": found.usage(CostKind.LABOR),
        "overhead_price": found.price(CostKind.OVERHEAD),
        "overhead_usage": found.usage(CostKind.OVERHEAD),
        "recovered": found.price(CostKind.RECOVERED) + found.usage(CostKind.RECOVERED),
        "yield_variance": found.yield_,
        "total": found.total,
    }


def _input(each: InputVariance) -> dict[str, Any]:
    return {
        "kind": each.kind.value,
        "code": each.code,
        "name": each.name,
        "planned": _amount(each.planned_quantity, each.unit),
        "planned_cost": each.planned_cost,
        "actual": _amount(each.actual_quantity, each.unit),
        "actual_cost": each.actual_cost,
        "price": each.price,
        "usage": each.usage,
        "priced": each.priced,
    }


def _amount(quantity: int, unit: str) -> dict[str, str]:
    if unit == "min":
        minutes = Fraction(quantity, SECONDS_PER_MINUTE)
        return {"amount": f"{float(minutes):g}", "unit": unit}
    if unit in ("batch", "day", "Wh"):
        return {"amount": str(quantity), "unit": unit}
    return base_json(quantity, unit)


class SpreadQuerySerializer(StrictSerializer):
    """Over how many batches of each mold; the last ten unless told."""

    last = serializers.IntegerField(min_value=1, max_value=MOST_LAST, default=USUAL_LAST)


class MoldCostsQuerySerializer(StrictSerializer):
    """The newest version unless told, at replacement prices unless told, as of the day `on`."""

    version = serializers.IntegerField(min_value=1, max_value=10**6, required=False)
    basis = serializers.ChoiceField(choices=CHOICES, default=PriceBasis.REPLACEMENT.value)
    on = serializers.DateField(required=False, input_formats=["%Y-%m-%d"])


def _query(serializer: type[StrictSerializer], request: Request) -> dict[str, Any]:
    query = serializer(data=request.query_params.dict())
    query.is_valid(raise_exception=True)
    given: dict[str, Any] = query.validated_data
    return given


class CostSpreadView(StudioView):
    """How the cost of a bar goes up and down from batch to batch."""

    serializer_class = SpreadSerializer
    rules: ClassVar[Rules] = {"get": LOOK}

    def query_parameters(self) -> tuple[str, ...]:
        return ("last",)

    @extend_schema(parameters=[SpreadQuerySerializer])
    def get(self, request: Request, code: str) -> Response:
        """The spread over the last cured batches of a recipe, mold by mold, from the books."""
        last = _query(SpreadQuerySerializer, request)["last"]
        found = cost_spread(code, last=last)
        return Response(self.get_serializer(shown_spread(code, last, found)).data)


class MoldCostsView(StudioView):
    """What a bar of a recipe costs in each mold."""

    serializer_class = MoldCostsSerializer
    rules: ClassVar[Rules] = {"get": LOOK}

    def query_parameters(self) -> tuple[str, ...]:
        return ("version", "basis", "on")

    @extend_schema(parameters=[MoldCostsQuerySerializer])
    def get(self, request: Request, code: str) -> Response:
        """A recipe in every mold in use, with what the next size up saves a bar."""
        given = _query(MoldCostsQuerySerializer, request)
        found = mold_costs(
            code,
            on=given.get("on") or timezone.localdate(),
            basis=PriceBasis(given["basis"]),
            version=given.get("version"),
        )
        return Response(self.get_serializer(shown_molds(found)).data)


class BatchVariancesView(StudioView):
    """A cured batch against the standard cost of its plan."""

    serializer_class = VariancesSerializer
    rules: ClassVar[Rules] = {"get": LOOK}

    def get(self, request: Request, code: str) -> Response:
        """Price, usage and yield variances, each in money; above zero it cost more."""
        return Response(self.get_serializer(shown_variances(variances_of(code))).data)
