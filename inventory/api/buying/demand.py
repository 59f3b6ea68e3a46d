"""The demand of a material: past use, the forecast with its errors, and what is required when."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import fields, serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.buying.projection import read_period
from inventory.domain.buying.demand import Period
from inventory.models.catalog.materials import Material
from inventory.queries.buying.usage import Demand, demand_of
from studio.foundation.roles import Capability
from studio.foundation.units.registry import NG_PER_G
from studio.web.api.serializers import StrictSerializer
from studio.web.api.viewsets import StudioViewSet
from studio.web.serializer_fields.quantities import StockAmountField

_DIGITS = 6


def estimate_text(value: float) -> str:
    """A float as plain decimal text of six significant digits."""
    return format(Decimal(f"{value:.{_DIGITS}g}").normalize() + 0, "f")


@extend_schema_field({"type": "string", "example": "1.64485"})
class EstimateField(serializers.Field[Any, Any, Any, Any]):
    """A number that is estimated."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: float) -> str:
        return estimate_text(value)


@extend_schema_field(
    {
        "type": "object",
        "properties": {
            "amount": {"type": "string", "example": "142.857"},
            "unit": {"type": "string", "enum": ["g", "each"]},
        },
        "required": ["amount", "unit"],
        "additionalProperties": False,
    }
)
class EstimatedAmountField(serializers.Field[Any, Any, Any, Any]):
    """An amount of stock that is estimated, parts of a piece included.

    `counted` is the dotted path of what says whether it is pieces.
    """

    def __init__(self, *, counted: str, **kwargs: Any) -> None:
        self.counted = counted
        super().__init__(read_only=True, **kwargs)

    def get_attribute(self, instance: Any) -> tuple[float, bool] | None:
        amount = super().get_attribute(instance)
        if amount is None:
            return None
        return amount, bool(fields.get_attribute(instance, self.counted.split(".")))

    def to_representation(self, value: tuple[float, bool]) -> dict[str, str]:
        amount, counted = value
        if counted:
            return {"amount": estimate_text(amount), "unit": "each"}
        return {"amount": estimate_text(amount / NG_PER_G), "unit": "g"}


COUNTED = "material.counted"
PERIOD = OpenApiParameter(
    "period", str, enum=[each.value for each in Period], description="Length of periods; week."
)


def _estimate(source: str, words: str) -> EstimatedAmountField:
    return EstimatedAmountField(counted=COUNTED, source=source, help_text=words, allow_null=True)


@dataclass(frozen=True, slots=True)
class UsedPeriod:
    """A period of the history."""

    material: Material
    from_day: date
    amount: int


class UsedPeriodSerializer(StrictSerializer):
    """What was used in one period."""

    from_day = serializers.DateField()
    amount = StockAmountField(counted=COUNTED)


class DatedNeedSerializer(StrictSerializer):
    """What a plan needs by a day; `open` is not held for it yet."""

    holder = serializers.CharField()
    due_on = serializers.DateField()
    amount = StockAmountField(counted=COUNTED)
    open = StockAmountField(counted=COUNTED)


class ForecastSerializer(StrictSerializer):
    """What is expected in a period to come, by the method that erred least in the past.

    Errors are of the periods in which the methods were compared, each forecast from those before
    it: e = actual - forecast.
    """

    method = serializers.CharField(source="forecast.method")
    constants = serializers.CharField(source="forecast.constants")
    known = serializers.BooleanField(
        source="forecast.is_known",
        help_text="False where nothing of it was used in the periods of the history (the last two "
        "years by week): its use is not known then, not zero.",
    )
    expected = _estimate("forecast.known_rate", "The mean of a period to come.")
    periods = serializers.IntegerField(
        source="forecast.periods", help_text="Periods since the first lot."
    )
    mean = _estimate("forecast.known_mean", "Mean use of a period.")
    sd = _estimate("forecast.known_sd", "Standard deviation of the use of a period.")
    tested = serializers.IntegerField(source="forecast.errors.tested")
    mean_absolute_error = _estimate("forecast.errors.mae", "Mean of |e|.")
    bias = _estimate("forecast.errors.bias", "Mean of e; above zero: too little was forecast.")
    root_mean_squared_error = _estimate("forecast.errors.rmse", "What the methods are compared by.")
    mean_absolute_scaled_error = EstimateField(
        source="forecast.errors.mase",
        allow_null=True,
        help_text="Mean of |e| over the mean change from period to period.",
    )


class DemandSerializer(StrictSerializer):
    """Past use, what it lets expect, and what is required."""

    material = serializers.CharField(source="material.code")
    period = serializers.ChoiceField(choices=[each.value for each in Period])
    forecast = ForecastSerializer(source="*")
    history = serializers.SerializerMethodField(help_text="Oldest first.")
    requirements = DatedNeedSerializer(many=True)

    @extend_schema_field(UsedPeriodSerializer(many=True))
    def get_history(self, demand: Demand) -> Any:
        rows = [UsedPeriod(demand.material, *each) for each in demand.history]
        return UsedPeriodSerializer(rows, many=True).data

    def to_representation(self, instance: Demand) -> dict[str, Any]:
        for requirement in instance.requirements:
            requirement.material = instance.material  # as read: no query for each
        return super().to_representation(instance)


class MaterialDemandViewSet(StudioViewSet):
    """One material's demand."""

    queryset = Material.objects.order_by("code")
    serializer_class = DemandSerializer
    rules: ClassVar = {"demand": Capability.READ}
    known_query: ClassVar = {"demand": ("period",)}

    @extend_schema(parameters=[PERIOD])
    @action(detail=True, methods=["get"])
    def demand(self, request: Request, code: str) -> Response:
        """What was used of it, what that lets expect, and what plans require."""
        period = read_period(request)
        return self.answer(demand_of(self.get_object(), on=timezone.localdate(), period=period))
