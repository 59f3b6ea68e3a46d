"""Purchase orders: placed, filled by deliveries, closed or cancelled."""

from typing import Any, ClassVar

from django.db.models import Prefetch
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.fields import CodeField, PersonField
from inventory.api.filters import OrderFilter
from inventory.models import PurchaseOrder, PurchaseOrderLine
from inventory.services.orders import (
    Ordered,
    OrderedLine,
    cancel_order,
    close_order,
    place_order,
)
from studio.api.callers import caller
from studio.api.serializers import StrictModelSerializer, StrictSerializer
from studio.api.stock_changing import stock_changing
from studio.api.viewsets import ReadOnlyStudioViewSet
from studio.roles import Capability
from studio.serializer_fields import MoneyField, StockAmountField

COUNTED = "material.counted"


class OrderLineSerializer(StrictModelSerializer[PurchaseOrderLine]):
    """Packs of one offer; `received` grows with each delivery booked against the line."""

    cost_fields = ("price",)
    offer = CodeField()
    material = CodeField()
    amount = StockAmountField(counted=COUNTED)
    received = StockAmountField(counted=COUNTED)
    outstanding = StockAmountField(counted=COUNTED)
    over_delivered = StockAmountField(counted=COUNTED)
    price = MoneyField(read_only=True)

    class Meta:
        model = PurchaseOrderLine
        fields = (
            "position",
            "offer",
            "material",
            "packs",
            "amount",
            "received",
            "outstanding",
            "over_delivered",
            "price",
        )


class OrderSerializer(StrictModelSerializer[PurchaseOrder]):
    """An order with its lines."""

    supplier = CodeField()
    by = PersonField()
    lines = OrderLineSerializer(many=True, read_only=True)

    class Meta:
        model = PurchaseOrder
        fields = (
            "code",
            "supplier",
            "state",
            "ordered_on",
            "expected_on",
            "note",
            "by",
            "lines",
            "revision",
        )


class OrderedLineSerializer(StrictSerializer):
    """Packs of one offer; without a price, the offer's own."""

    cost_fields = ("price",)
    offer = CodeField()
    packs = serializers.IntegerField(min_value=1)
    price = MoneyField(required=False, help_text="Of the whole line.")


class OrderedSerializer(StrictSerializer):
    """An order to place; without `expected_on`, the longest lead time of its offers."""

    supplier = CodeField()
    ordered_on = serializers.DateField()
    expected_on = serializers.DateField(required=False)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)
    lines = OrderedLineSerializer(many=True)


class OrderEndSerializer(StrictSerializer):
    """Nothing is asked for."""


class PurchaseOrderViewSet(ReadOnlyStudioViewSet):
    """What is on its way, newest first. Placing an order needs the right to see costs: it agrees
    to prices, and a supplier's minimum order is one."""

    queryset = (
        PurchaseOrder.objects.select_related("supplier", "by")
        .prefetch_related(
            Prefetch("lines", PurchaseOrderLine.objects.select_related("offer", "material"))
        )
        .order_by("-id")
    )
    serializer_class = OrderSerializer
    filterset_class = OrderFilter
    ordering = ("-id",)
    rules: ClassVar = {
        "create": (Capability.KEEP_STOCK, Capability.SEE_COSTS),
        "close": Capability.KEEP_STOCK,
        "cancel": Capability.KEEP_STOCK,
    }
    given_serializers: ClassVar = {
        "create": OrderedSerializer,
        "close": OrderEndSerializer,
        "cancel": OrderEndSerializer,
    }
    statuses: ClassVar = {"create": 201}

    @stock_changing
    def create(self, request: Request) -> Response:
        """Place an order with one supplier."""
        given: Any = self.read(request)
        lines = [OrderedLine(**line) for line in given.pop("lines")]
        order = place_order(Ordered(**given, lines=lines), by=caller(request))
        response = self.answer(self.get_queryset().get(pk=order.pk))
        response.headers["Location"] = self.reverse_action("detail", args=[order.code])
        return response

    @action(detail=True, methods=["post"])
    @stock_changing
    def close(self, request: Request, code: str) -> Response:
        """Expect no more of it."""
        self.read(request)
        close_order(code)
        return self.answer(self.get_object())

    @action(detail=True, methods=["post"])
    @stock_changing
    def cancel(self, request: Request, code: str) -> Response:
        """Take it back as if it never was; only while nothing of it has come."""
        self.read(request)
        cancel_order(code)
        return self.answer(self.get_object())
