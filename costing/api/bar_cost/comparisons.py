"""Costs held against each other: batches, molds, and what was made against its plan."""

from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from costing.api.bar_cost.comparison_answers import (
    MoldCostsSerializer,
    SpreadSerializer,
    VariancesSerializer,
    shown_molds,
    shown_spread,
    shown_variances,
)
from costing.queries.bar_cost.mold_costs import mold_costs
from costing.queries.bar_cost.price_basis import CHOICES, PriceBasis
from costing.queries.bar_cost.spread import cost_spread
from costing.queries.bar_cost.variances import variances_of
from studio.foundation.roles import Capability
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import StudioView
from studio.web.permissions import Rules

LOOK = (Capability.READ, Capability.SEE_COSTS)
USUAL_LAST, MOST_LAST = 10, 200


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
