"""Shipments: bars leave for customers, and some come back."""

from typing import Any

from django.db.models import Prefetch
from django.utils import timezone
from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.request import Request

from inventory.models.shipping.shipments import Shipment, ShipmentLine, ShipmentReturn
from inventory.services.shipping.returns import REASON_LENGTH, Returning, return_shipment
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from studio.foundation.errors import InvalidInput
from studio.foundation.roles import Capability
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, day
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.quantities import BaseQuantityField

MOST_LINES = 200


class ShipmentReturnSerializer(AnswerSerializer):
    """What came back of a line, with its cost."""

    shows = ShipmentReturn
    says = ("returned_on", "amount", "reason", "posting", "cost", "at", "by.username as by")
    counted = "line.lot.material.counted"
    cost_fields = ("cost",)


class ShipmentLineSerializer(AnswerSerializer):
    """What one lot gave, and what of it came back."""

    shows = ShipmentLine
    says = (
        *("position", "lot.code as lot", "lot.material.code as material", "amount", "cost"),
        "returns",
    )
    counted = "lot.material.counted"
    cost_fields = ("cost",)


class ShipmentSerializer(AnswerSerializer):
    """A shipment as it left; what came back stands with its line."""

    shows = Shipment
    says = (
        *("code", "customer_name as customer", "reference", "shipped_on", "note", "created_at"),
        *("by.username as by", "lines"),
    )


class ToShipSerializer(StrictSerializer):
    """Pieces out of a `lot`, or of a `material` (a bar), the longest cured lots first."""

    lot = CodeField(required=False)
    material = CodeField(required=False)
    amount = BaseQuantityField(unit="each", help_text='"24 each".')


class ShippingSerializer(StrictSerializer):
    """A shipment to make, all of it or nothing."""

    customer = serializers.CharField(max_length=120)
    reference = serializers.CharField(
        max_length=80, required=False, allow_blank=True, default="", help_text="Their order."
    )
    shipped_on = serializers.DateField(required=False, help_text="Today, if left out.")
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")
    lines = ToShipSerializer(many=True, max_length=MOST_LINES)  # type: ignore[call-arg]


class ReturnedLotSerializer(StrictSerializer):
    """Pieces of a lot that came back."""

    lot = CodeField()
    amount = BaseQuantityField(unit="each")


class ReturningSerializer(StrictSerializer):
    """What came back; all that is still out when `lines` is left out."""

    reason = serializers.CharField(max_length=REASON_LENGTH)
    returned_on = serializers.DateField(required=False, help_text="Today, if left out.")
    lines = ReturnedLotSerializer(
        many=True,
        required=False,
        max_length=MOST_LINES,  # type: ignore[call-arg]
    )


class ShipmentFilter(Filters):
    """Shipments."""

    customer = filters.CharFilter(field_name="customer_name")
    reference = filters.CharFilter()
    lot = filters.CharFilter(field_name="lines__lot__code", distinct=True)
    shipped_from = day("shipped_on", "gte")
    shipped_until = day("shipped_on", "lte")


class ShipmentViewSet(ReadOnlyStudioViewSet):
    """What left for customers, newest first. POST ships, a return brings back."""

    queryset = (
        Shipment.objects.select_related("by")
        .prefetch_related(
            Prefetch("lines", ShipmentLine.objects.select_related("lot__material")),
            Prefetch(
                "lines__returns",
                ShipmentReturn.objects.select_related("by", "line__lot__material"),
            ),
        )
        .order_by("-id")
    )
    serializer_class = ShipmentSerializer
    filterset_class = ShipmentFilter
    ordering = ("-id",)

    @verb(Capability.KEEP_STOCK, given=ShippingSerializer, status=201)
    def create(self, request: Request, given: Any) -> Any:
        """Ship bars to a customer."""
        shipping = Shipping(
            customer_name=given["customer"],
            reference=given["reference"],
            shipped_on=given.get("shipped_on") or timezone.localdate(),
            note=given["note"],
            lines=[ToShip(**line) for line in given["lines"]],
        )
        shipment = ship(shipping, by=caller(request))
        return self.made(self.get_queryset().get(pk=shipment.pk))

    @verb(Capability.KEEP_STOCK, given=ReturningSerializer, status=201, path="return")
    def take_back(self, request: Request, code: str, given: Any) -> Any:
        """Bring back into stock what a customer returned, with the cost that had left."""
        returning = Returning(
            returned_on=given.get("returned_on") or timezone.localdate(),
            reason=given["reason"],
            lots=_by_lot(given["lines"]) if "lines" in given else None,
        )
        return_shipment(code, returning, by=caller(request))
        return self.get_object()


def _by_lot(lines: list[Any]) -> dict[str, int]:
    amounts: dict[str, int] = {}
    for index, line in enumerate(lines):
        if line["lot"] in amounts:
            raise InvalidInput("The lot stands twice here.", field=f"lines.{index}.lot")
        amounts[line["lot"]] = line["amount"]
    return amounts
