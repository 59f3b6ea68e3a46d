"""What a batch cost, what a recipe would cost, and a bar of a product: by line, by kind, by bar."""

from collections.abc import Mapping
from dataclasses import asdict, replace
from itertools import zip_longest
from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from costing.api.rows import ExactMoneyField
from costing.domain.bar_cost.bar_cost import (
    BarCost,
    BarLine,
    BatchCost,
    CostKind,
    CostLine,
    Step,
    bar_waterfall,
)
from costing.queries.bar_cost.batches import BatchCosting, cost_of_batch
from costing.queries.bar_cost.plans import MissingPrice, PlanCosting, costs_of_plan
from costing.queries.bar_cost.price_basis import CHOICES, PriceBasis
from costing.queries.bar_cost.product_costs import ProductCost, cost_of_product
from recipes.domain.weighing import MOST_BARS
from recipes.errors import ScalingRefusal
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.scaling.planning import Asked, wish_from
from studio.foundation.errors import NotFound
from studio.foundation.roles import Capability
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import ComputeView, StudioView
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField
from studio.web.serializer_fields.quantities import BaseQuantityField
from studio.web.serializer_fields.writing import base_json, stock_json

#: The international avoirdupois ounce (NIST Handbook 44, appendix C) is 28.349 523 125 g.
NG_PER_OUNCE = 28_349_523_125
#: Name in a request -> name in what is asked, where they differ.
NAMES = {
    "fill_height": "fill_height_nm",
    "fats": "fats_ng",
    "batter": "batter_ng",
    "volume": "volume_nl",
    "poured_weight": "poured_weight_ng",
}


class ShownAmountSerializer(StrictSerializer):
    """An amount with its unit: g, each or mL of what is used, min of labor."""

    amount = serializers.CharField()
    unit = serializers.CharField()


class ShownLineSerializer(AnswerSerializer):
    """One line of a cost. `origin` is the lot, the lots or the offer that its cost comes from.

    `per_bar` are the parts of the cost of one bar; they add up to it exactly. Cost and part are
    null where not all of them is known, and `at_least` is what is known of the cost.
    """

    shows = BarLine
    says = (
        *("line.kind", "line.code", "line.name", "line.origin", "quantity"),
        *("line.cost_if_known as cost", "line.cost as at_least", "per_bar"),
    )
    quantity = serializers.SerializerMethodField()
    per_bar = MoneyField(allow_null=True)

    @extend_schema_field(ShownAmountSerializer(allow_null=True))
    def get_quantity(self, shown: Mapping[str, Any]) -> dict[str, str] | None:
        line: CostLine = shown["line"]
        if not line.unit:
            return None
        if line.unit == "min":
            return {"amount": str(line.quantity), "unit": "min"}
        return base_json(line.quantity, line.unit)


class StepSerializer(AnswerSerializer):
    """A step of a waterfall: what it adds, and what it comes to with all before it."""

    shows = Step
    says = ("kind", "label as name", "amount", "total")


class ShownCostSerializer(StrictSerializer):
    """A cost: its total, by kind, by line, and for one good bar.

    `per_bar` is rounded to the last decimal kept; `per_bar_exact` is the same as an exact fraction
    of the currency ("155/7"). Both are null where there is no good bar. An unusual loss is not in
    the cost of the good bars, but apart (IAS 2 paragraph 16). What lacks a price or a rate is null,
    never zero; `at_least` and `per_bar_at_least` are then what is known, and so is the waterfall.
    """

    total = MoneyField(allow_null=True)
    at_least = MoneyField()
    by_kind = serializers.DictField(child=MoneyField(allow_null=True))
    lines = ShownLineSerializer(many=True)
    bars = serializers.IntegerField()
    cost_of_good_bars = MoneyField(allow_null=True)
    abnormal_loss = MoneyField()
    per_bar = MoneyField(allow_null=True)
    per_bar_exact = ExactMoneyField(allow_null=True)
    per_bar_at_least = MoneyField(allow_null=True)
    waterfall = StepSerializer(many=True)


class BarWeightSerializer(StrictSerializer):
    """What a bar weighs when cured, and what a gram and an ounce of it cost.

    Weighed in the cure ("weighed"), else as cut ("cut") or poured ("poured") less the recipe's
    cure loss. Money is rounded to the last decimal kept; the exact cost of a gram is a fraction.
    """

    weight = ShownAmountSerializer()
    by = serializers.CharField()
    cost_per_gram = MoneyField()
    cost_per_gram_exact = ExactMoneyField()
    cost_per_ounce = MoneyField()


class BatchCostSerializer(ShownCostSerializer):
    """What a batch cost. While `provisional`, packaging and labor are as planned, since they get
    into the books when the bars are released."""

    batch = serializers.CharField()
    state = serializers.CharField()
    poured_on = serializers.DateField()
    rejects = serializers.IntegerField()
    provisional = serializers.BooleanField()
    notes = serializers.ListField(child=serializers.CharField())
    bar_weight = BarWeightSerializer(allow_null=True)


class MissingPriceSerializer(AnswerSerializer):
    """An amount of a material that has no price on this basis; it is not in what is known."""

    shows = MissingPrice
    says = ("material.code as material", "material.name", "amount", "reason")
    amount = serializers.SerializerMethodField()

    @extend_schema_field(ShownAmountSerializer)
    def get_amount(self, each: MissingPrice) -> dict[str, str]:
        return stock_json(each.amount, counted=each.material.counted)


class BasisCostSerializer(ShownCostSerializer):
    """What a plan would cost on one price basis; not known without what is `missing`."""

    basis = serializers.ChoiceField(choices=CHOICES)
    complete = serializers.BooleanField()
    missing = MissingPriceSerializer(many=True)
    notes = serializers.ListField(child=serializers.CharField())


class PlanCostSerializer(StrictSerializer):
    """What a recipe would cost at a size, on each basis asked for."""

    formula = serializers.CharField()
    version = serializers.IntegerField()
    on = serializers.DateField()
    costs = BasisCostSerializer(many=True)


def shown_cost(cost: BatchCost, bar: BarCost | None, *, bars: int) -> dict[str, Any]:
    """A cost as `ShownCostSerializer` reads it."""
    parts = () if bar is None else (line.per_bar for line in bar.lines)
    lines = [
        {"line": line, "per_bar": part if line.known else None}
        for line, part in zip_longest(cost.lines, parts)
    ]
    return {
        "total": cost.total,
        "at_least": cost.at_least,
        "by_kind": {kind.value: cost.of(kind) for kind in CostKind},
        "lines": lines,
        "bars": bars,
        "cost_of_good_bars": cost.total if bar is None or not bar.known else bar.cost_of_good,
        "abnormal_loss": 0 if bar is None else bar.abnormal_loss,
        "per_bar": None if bar is None else bar.per_bar,
        "per_bar_exact": None if bar is None or not bar.known else bar.exact,
        "per_bar_at_least": None if bar is None else bar.at_least,
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
        "cost_per_gram": per_gram,
        "cost_per_gram_exact": per_gram,
        "cost_per_ounce": bar.exact / cured.weight * NG_PER_OUNCE,
    }


def shown_basis(costing: PlanCosting) -> dict[str, Any]:
    """A plan's cost on one basis as `BasisCostSerializer` reads it."""
    return {
        **shown_cost(costing.cost, costing.bar, bars=costing.bars),
        "basis": costing.basis.value,
        "complete": costing.complete,
        "missing": costing.missing,
        "notes": costing.notes,
    }


class CostTargetSerializer(StrictSerializer):
    """One of: a mold, fats, batter, volume, or bars with their poured weight.

    `bars` beside the others says how many bars it gives; without bars there is no cost per bar.
    """

    mold = serializers.SlugField(max_length=40, required=False)
    fill_height = BaseQuantityField(unit="mm", required=False)
    fats = BaseQuantityField(unit="g", required=False)
    batter = BaseQuantityField(unit="g", required=False)
    volume = BaseQuantityField(unit="mL", required=False)
    bars = serializers.IntegerField(min_value=1, max_value=MOST_BARS, required=False)
    poured_weight = BaseQuantityField(unit="g", required=False)


class CostRequestSerializer(StrictSerializer):
    """The current version unless told, on all price bases unless told, as of the day `on`."""

    version = serializers.IntegerField(min_value=1, max_value=10**6, required=False)
    target = CostTargetSerializer()
    basis = serializers.ChoiceField(choices=CHOICES, required=False)
    on = serializers.DateField(required=False, input_formats=["%Y-%m-%d"])


def wish_of(given: Mapping[str, Any]) -> Wish:
    """The wish of a target that was read. Raises ScalingRefusal and NotFound below "target"."""
    asked = Asked(**{NAMES.get(name, name): value for name, value in given.items()})
    try:
        return wish_from(asked)
    except (ScalingRefusal, NotFound) as refusal:
        bare = [replace(f, field=f.field.removeprefix("target")) for f in refusal.faults]
        raise type(refusal)(faults=bare).under("target") from refusal


class BatchCostView(StudioView):
    """What a poured, cut or cured batch cost, line by line, and each good bar of it."""

    serializer_class = BatchCostSerializer
    rules: ClassVar[Rules] = {"get": (Capability.READ, Capability.SEE_COSTS)}

    def get(self, request: Request, code: str) -> Response:
        """The cost of a batch, from the books."""
        return Response(self.get_serializer(shown_batch(cost_of_batch(code))).data)


class FormulaCostView(ComputeView):
    """What a recipe would cost at a size, on one price basis or all of them. Stores nothing."""

    given_serializer = CostRequestSerializer
    answer_serializer = PlanCostSerializer
    rules: ClassVar[Rules] = {"post": (Capability.READ, Capability.COMPUTE, Capability.SEE_COSTS)}

    def compute(self, given: Any) -> Any:
        loaded = load_formula(code=self.kwargs["code"], number=given.get("version"))
        plan = make_plan(loaded, wish_of(given["target"]))
        on = given.get("on") or timezone.localdate()
        bases = (PriceBasis(given["basis"]),) if "basis" in given else tuple(PriceBasis)
        return {
            "formula": loaded.version.formula.code,
            "version": loaded.version.number,
            "on": on,
            "costs": [shown_basis(each) for each in costs_of_plan(plan, on=on, bases=bases)],
        }


class ProductCostQuerySerializer(StrictSerializer):
    """The day (today unless told), and how many bars are wanted (one batch unless told)."""

    on = serializers.DateField(required=False, input_formats=["%Y-%m-%d"])
    quantity = serializers.IntegerField(min_value=1, max_value=MOST_BARS, required=False)


class ProductCostSerializer(AnswerSerializer):
    """The cost of one bar, packing included in both.

    `actual` is the average of the bars in stock by the books, null when none is held;
    `replacement` a bar made anew at today's offers (what nobody offers at the last price paid) for
    the quantity with freight, labor standards and rates. Each is null when a price or rate is
    missing; what is known of it stands beside. `notes` say what is missing or only expected.
    """

    shows = ProductCost
    says = (
        *("product", "on", "actual", "replacement", "actual_at_least", "replacement_at_least"),
        *("packing", "notes"),
    )
    product = serializers.CharField()
    on = serializers.DateField()


class ProductCostView(StudioView):
    """What a bar of a product costs."""

    serializer_class = ProductCostSerializer
    rules: ClassVar[Rules] = {"get": (Capability.READ, Capability.SEE_COSTS)}

    def query_parameters(self) -> tuple[str, ...]:
        return ("on", "quantity")

    @extend_schema(parameters=[ProductCostQuerySerializer])
    def get(self, request: Request, code: str) -> Response:
        """The actual and the replacement cost of a bar, with its packing."""
        query = ProductCostQuerySerializer(data=request.query_params.dict())
        query.is_valid(raise_exception=True)
        given: dict[str, Any] = query.validated_data
        on = given.get("on") or timezone.localdate()
        cost = cost_of_product(code, on=on, quantity=given.get("quantity"))
        shown = {**asdict(cost), "product": code, "on": on}
        return Response(self.get_serializer(shown).data)
