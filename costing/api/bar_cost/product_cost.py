"""What a bar of a product costs: as the books hold it, and to make it anew today."""

from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from costing.queries.bar_cost.product_costs import cost_of_product
from recipes.domain.weighing import MOST_BARS
from studio.foundation.roles import Capability
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import StudioView
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField


class ProductCostQuerySerializer(StrictSerializer):
    """The day (today unless told), and how many bars are wanted (one batch unless told)."""

    on = serializers.DateField(required=False, input_formats=["%Y-%m-%d"])
    quantity = serializers.IntegerField(min_value=1, max_value=MOST_BARS, required=False)


class ProductCostSerializer(StrictSerializer):
    """The cost of one bar, packing included in both.

    `actual` is the average of the bars in stock by the books, null when none is held;
    `replacement` a bar made anew at today's offers for the quantity with freight, labor standards
    and rates, null when a price is missing. `notes` say what is missing or only expected.
    """

    product = serializers.CharField(read_only=True)
    on = serializers.DateField(read_only=True)
    actual = MoneyField(read_only=True, allow_null=True)
    replacement = MoneyField(read_only=True, allow_null=True)
    packing = MoneyField(read_only=True, allow_null=True)
    notes = serializers.ListField(child=serializers.CharField(), read_only=True)


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
        shown = {
            "product": code,
            "on": on,
            "actual": cost.actual,
            "replacement": cost.replacement,
            "packing": cost.packing,
            "notes": cost.notes,
        }
        return Response(self.get_serializer(shown).data)
