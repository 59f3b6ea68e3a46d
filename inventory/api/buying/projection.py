"""Stock day by day: what runs short when, for all materials or one."""

from dataclasses import dataclass
from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.filters import MaterialFilter
from inventory.domain.buying.demand import Period
from inventory.models.catalog.materials import Material
from inventory.queries.buying.projection import LONGEST_HORIZON, project_materials
from inventory.queries.buying.running_out import StockDay, StockOutlook, days_of, outlooks
from studio.foundation.roles import Capability
from studio.web.api.serializers import StrictSerializer
from studio.web.api.viewsets import ReadOnlyStudioViewSet, StudioViewSet
from studio.web.serializer_fields.quantities import StockAmountField

USUAL_HORIZON = 90
COUNTED = "material.counted"
DAYS = OpenApiParameter(
    "days", int, description=f"Days to look ahead, 1 to {LONGEST_HORIZON}; {USUAL_HORIZON} if left."
)
SHORT = OpenApiParameter(
    "short", str, enum=["true", "false"], description="Those that run short, or the others."
)


@dataclass(frozen=True, slots=True)
class Series:
    """A material's sums and days."""

    outlook: StockOutlook
    days: list[StockDay]


def _amount(words: str = "") -> StockAmountField:
    return StockAmountField(counted=COUNTED, help_text=words or None)


class OutlookSerializer(StrictSerializer):
    """Sums over the days looked ahead; amounts in g of what is weighed, each of what is counted."""

    material = serializers.CharField(source="material.code")
    name = serializers.CharField(source="material.name")
    on_hand = _amount("Usable today.")
    reserved = _amount("Held for plans, on the day they need it.")
    planned = _amount("Required beyond what is held, on its day.")
    use_known = serializers.BooleanField(
        help_text="False where nothing of it was used in the last two years: then its use is not "
        "known, which is no zero."
    )
    forecast = StockAmountField(
        counted=COUNTED,
        allow_null=True,
        help_text="Expected from past use beyond what is reserved and planned; null: not known.",
    )
    on_order = _amount()
    late = _amount("Of what is on order: expected before today.")
    being_made = _amount("What planned batches will make.")
    expiring = _amount("Past its best before, less the time it takes to use it.")
    lowest = _amount("The lowest balance at the end of a day; below zero: missing.")
    ending = _amount("The balance at the end of the last day.")
    first_short_on = serializers.DateField(
        allow_null=True, help_text="The first day that ends below zero."
    )
    first_low_on = serializers.DateField(
        allow_null=True, help_text="The first day that ends at or below the reorder point."
    )
    cover_days = serializers.IntegerField(
        allow_null=True,
        help_text="Whole days that today's stock lasts without new supply; null: not known.",
    )
    outlasts = serializers.BooleanField(
        allow_null=True, help_text="It lasts longer than the days looked ahead; null: not known."
    )


class StockDaySerializer(StrictSerializer):
    """One day: what goes, what comes, what expires, and what is left in the evening."""

    on = serializers.DateField()
    reserved = _amount()
    planned = _amount()
    forecast = StockAmountField(
        counted=COUNTED, allow_null=True, help_text="As in the outlook; null: not known."
    )
    on_order = _amount()
    being_made = _amount()
    expiring = _amount()
    balance = _amount()


class SeriesSerializer(StrictSerializer):
    """A material day by day."""

    outlook = OutlookSerializer()
    days = StockDaySerializer(many=True)


class ProjectionViewSet(ReadOnlyStudioViewSet):
    """What is to be expected of each material in the days to come.

    In each week the larger of what is reserved or planned and of what past use lets expect counts,
    never their sum. What expires first is used first.
    """

    queryset = Material.objects.filter(active=True).order_by("code")
    serializer_class = OutlookSerializer
    filterset_class = MaterialFilter
    ordering = ("code",)
    known_query: ClassVar = {"list": ("days", "short"), "retrieve": ("days",)}

    @extend_schema(parameters=[DAYS, SHORT])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        days, wanted = read_days(request), _read_short(request)
        materials = self.filter_queryset(self.get_queryset())
        found: dict[int, StockOutlook] = {}
        if wanted is not None:  # all must be projected to know which pages there are
            every = _outlooks(materials, days=days)
            found = {
                each.material.pk: each
                for each in every
                if (each.first_short_on is not None) is wanted
            }
            materials = self.get_queryset().filter(pk__in=list(found))
        page = self.paginate_queryset(materials) or []
        if wanted is None:
            pks = [material.pk for material in page]
            found = {each.material.pk: each for each in _outlooks(pks, days=days)}
        shown = [found[material.pk] for material in page]
        return self.get_paginated_response(self.get_serializer(shown, many=True).data)

    @extend_schema(parameters=[DAYS])
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.answer(_outlooks([self.get_object().pk], days=read_days(request))[0])


class MaterialProjectionViewSet(StudioViewSet):
    """One material day by day."""

    queryset = Material.objects.order_by("code")
    serializer_class = SeriesSerializer
    rules: ClassVar = {"projection": Capability.READ}
    known_query: ClassVar = {"projection": ("days",)}

    @extend_schema(parameters=[DAYS])
    @action(detail=True, methods=["get"])
    def projection(self, request: Request, code: str) -> Response:
        """What goes, comes, expires and is left of one material on each day to come."""
        projected = project_materials(
            on=timezone.localdate(), days=read_days(request), materials=[self.get_object().pk]
        )
        return self.answer(Series(outlooks(projected)[0], days_of(projected)))


def read_days(request: Request) -> int:
    """The days to look ahead; raises ValidationError."""
    given = request.query_params.get("days", str(USUAL_HORIZON))
    digits = given.isascii() and given.isdigit() and len(given) <= 4
    if not (digits and 1 <= int(given) <= LONGEST_HORIZON):
        raise ValidationError(
            {"days": [f"Write a whole number from 1 to {LONGEST_HORIZON}."]}, "out-of-range"
        )
    return int(given)


def read_period(request: Request) -> Period:
    """The length of periods; raises ValidationError."""
    given = request.query_params.get("period", Period.WEEK.value)
    if given not in [period.value for period in Period]:
        raise ValidationError({"period": ["Write day or week."]}, "no-period")
    return Period(given)


def _read_short(request: Request) -> bool | None:
    given = request.query_params.get("short")
    if given in (None, "true", "false"):
        return None if given is None else given == "true"
    raise ValidationError({"short": ["Write true or false."]}, "not-yes-or-no")


def _outlooks(materials: Any, *, days: int) -> list[StockOutlook]:
    if isinstance(materials, list) and not materials:
        return []
    return outlooks(project_materials(on=timezone.localdate(), days=days, materials=materials))
