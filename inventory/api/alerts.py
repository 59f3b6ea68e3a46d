"""Low-stock alerts, and the scan that opens and closes them."""

from typing import Any, ClassVar

from django.utils import timezone
from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.fields import CodeField
from inventory.models import LowStockAlert
from inventory.services.alerts import raise_low_stock_alerts
from studio.api.filtering import Filters, by_code
from studio.api.serializers import StrictModelSerializer, StrictSerializer
from studio.api.stock_changing import stock_changing
from studio.api.viewsets import ReadOnlyStudioViewSet
from studio.roles import Capability
from studio.serializer_fields import StockAmountField

COUNTED = "material.counted"


class AlertSerializer(StrictModelSerializer[LowStockAlert]):
    """A material that runs low, with the numbers behind it and the reason in words."""

    material = CodeField()
    material_name = serializers.CharField(source="material.name", read_only=True)
    on_hand = StockAmountField(counted=COUNTED)
    reserved = StockAmountField(counted=COUNTED)
    planned = StockAmountField(counted=COUNTED)
    on_order = StockAmountField(counted=COUNTED)
    projected = StockAmountField(counted=COUNTED)
    reorder_point = StockAmountField(counted=COUNTED)

    class Meta:
        model = LowStockAlert
        fields = (
            "id",
            "material",
            "material_name",
            "opened_at",
            "updated_at",
            "closed_at",
            "on_hand",
            "reserved",
            "planned",
            "on_order",
            "projected",
            "reorder_point",
            "reason",
        )


class AlertFilter(Filters):
    """Open alerts unless something else is asked for."""

    material = by_code("material")
    state = filters.ChoiceFilter(
        choices=[(name, name) for name in ("open", "closed", "all")],
        method="in_state",
        help_text="Open ones, if left out.",
    )

    def filter_queryset(self, queryset: Any) -> Any:
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data.get("state") else found.filter(closed_at=None)

    def in_state(self, alerts: Any, name: str, state: str) -> Any:
        """Open, closed, or all of them."""
        return alerts if state == "all" else alerts.filter(closed_at__isnull=state == "open")


class EvaluateSerializer(StrictSerializer):
    """Nothing is asked for."""


class ScanSerializer(StrictSerializer):
    """What the scan did."""

    opened = serializers.IntegerField()
    updated = serializers.IntegerField()
    closed = serializers.IntegerField()


class AlertViewSet(ReadOnlyStudioViewSet):
    """What runs low, newest first."""

    queryset = LowStockAlert.objects.select_related("material").order_by("-id")
    serializer_class = AlertSerializer
    filterset_class = AlertFilter
    lookup_field = "pk"
    ordering = ("-id",)
    rules: ClassVar = {"evaluate": Capability.KEEP_STOCK}
    given_serializers: ClassVar = {"evaluate": EvaluateSerializer}
    answer_serializers: ClassVar = {"evaluate": ScanSerializer}

    def filter_queryset(self, queryset: Any) -> Any:
        """A single alert is found whether it is open or closed."""
        return super().filter_queryset(queryset) if self.action == "list" else queryset

    @action(detail=False, methods=["post"])
    @stock_changing
    def evaluate(self, request: Request) -> Response:
        """Look now at what runs low; the mail about what is new goes out with the next round."""
        self.read(request)
        return self.answer(raise_low_stock_alerts(now=timezone.now()))
