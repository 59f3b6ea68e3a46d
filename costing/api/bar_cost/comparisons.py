"""Costs held against each other: batches, molds, and what was made against its plan."""

from fractions import Fraction
from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from costing.api.bar_cost.costs import ShownAmountSerializer
from costing.api.rows import LOOK
from costing.domain.bar_cost.conversion import SECONDS_PER_MINUTE
from costing.domain.bar_cost.variances import InputVariance, VarianceSums
from costing.queries.bar_cost.price_basis import CHOICES, PriceBasis
from costing.queries.bar_cost.recipe_costs import (
    MadeCost,
    MoldCost,
    MoldCosts,
    MoldSpread,
    Saving,
    cost_spread,
    mold_costs,
)
from costing.queries.bar_cost.variances import BatchVariances, variances_of
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import StudioView
from studio.web.permissions import Rules
from studio.web.serializer_fields.writing import base_json

USUAL_LAST, MOST_LAST = 10, 200


class MadeCostSerializer(AnswerSerializer):
    """A cured batch: what its good bars cost in all, and each of them."""

    shows = MadeCost
    says = ("batch", "version", "poured_on", "bars", "cost", "per_bar")


class MoldSpreadSerializer(AnswerSerializer):
    """The spread of the cost of a bar over the batches of one mold (null: of none).

    `deviation` is the sample standard deviation (n - 1), null for a single batch. Batches that
    lack labor or overhead (`not_known`, by code) are not in it; all is null where each does.
    """

    shows = MoldSpread
    says = (
        *("mold", "count", "spread.mean", "spread.lowest", "spread.highest"),
        *("spread.median", "spread.deviation", "batches", "not_known"),
    )
    not_known = serializers.SerializerMethodField()

    def get_not_known(self, each: MoldSpread) -> list[str]:
        return [made.batch for made in each.not_known]


class SpreadSerializer(StrictSerializer):
    """The spread mold by mold, each over the last so many cured batches."""

    formula = serializers.CharField()
    last = serializers.IntegerField()
    molds = MoldSpreadSerializer(many=True)


class SavingSerializer(AnswerSerializer):
    """What a bar costs less than in the next smaller mold; `set_up` of it by spreading set-up."""

    shows = Saving


class MoldCostSerializer(AnswerSerializer):
    """A batch in a mold; unless `complete`, what lacks a price or rate is null, and what is known
    of the batch and of a bar stands beside. `notes` say why."""

    shows = MoldCost
    says = (
        *("mold", "name", "bars", "costing.cost.total", "costing.cost.at_least", "per_bar"),
        *("at_least as per_bar_at_least", "by_kind", "saving", "costing.complete", "missing"),
        "costing.notes",
    )
    missing = serializers.SerializerMethodField()

    def get_missing(self, each: MoldCost) -> list[str]:
        return [missing.material.name for missing in each.costing.missing]


class LeftOutSerializer(StrictSerializer):
    """A mold in which the recipe cannot be made into bars, and why."""

    mold = serializers.CharField()
    reason = serializers.CharField()


class MoldCostsSerializer(AnswerSerializer):
    """A recipe in every mold in use, from the fewest bars to the most."""

    shows = MoldCosts
    left_out = serializers.SerializerMethodField()

    @extend_schema_field(LeftOutSerializer(many=True))
    def get_left_out(self, found: MoldCosts) -> list[dict[str, str]]:
        return [{"mold": mold, "reason": reason} for mold, reason in found.left_out.items()]


class InputVarianceSerializer(AnswerSerializer):
    """An input: what it cost more than planned is `price` (of labor: rate) and `usage` (of labor:
    efficiency). Without `priced` no price was known at planning, and the one paid stands in. What
    is not known is null: a time that nobody told, a cost without a rate."""

    shows = InputVariance
    says = (
        *("kind", "code", "name", "planned", "planned_cost", "actual", "actual_cost"),
        *("price", "usage", "priced"),
    )
    planned = serializers.SerializerMethodField()
    actual = serializers.SerializerMethodField()

    @extend_schema_field(ShownAmountSerializer(allow_null=True))
    def get_planned(self, each: InputVariance) -> dict[str, str] | None:
        return _amount(each.planned_quantity, each.unit)

    @extend_schema_field(ShownAmountSerializer(allow_null=True))
    def get_actual(self, each: InputVariance) -> dict[str, str] | None:
        return _amount(each.actual_quantity, each.unit)


class VarianceSumsSerializer(AnswerSerializer):
    """The variances by what they come from; they add up to the total exactly. Null: not known."""

    shows = VarianceSums


class VariancesSerializer(AnswerSerializer):
    """A batch against its plan. Above zero is unfavorable: it cost more.

    `standard_cost` is the plan's cost, `allowed` what of it the good bars are worth; the sums add
    up to `actual_cost` less `allowed`. `abnormal_loss` is in the actual cost, and an expense.
    """

    shows = BatchVariances
    says = (
        *("code as batch", "planned_for", "cured_on", "found.planned_bars", "found.good_bars"),
        *("found.planned_cost as standard_cost", "found.allowed", "found.actual_cost"),
        *("abnormal_loss", "found.sums", "found.inputs", "notes"),
    )


def _amount(quantity: int | None, unit: str) -> dict[str, str] | None:
    if quantity is None:
        return None
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
    """The current version unless told, at replacement prices unless told, as of the day `on`."""

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
        shown = {"formula": code, "last": last, "molds": cost_spread(code, last=last)}
        return Response(self.get_serializer(shown).data)


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
        return Response(self.get_serializer(found).data)


class BatchVariancesView(StudioView):
    """A cured batch against the standard cost of its plan."""

    serializer_class = VariancesSerializer
    rules: ClassVar[Rules] = {"get": LOOK}

    def get(self, request: Request, code: str) -> Response:
        """Price, usage and yield variances, each in money; above zero it cost more."""
        return Response(self.get_serializer(variances_of(code)).data)
