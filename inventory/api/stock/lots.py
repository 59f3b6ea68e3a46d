"""Lots: what stands on the shelf, and what is done with it."""

from typing import ClassVar

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.fields import (
    CodeField,
    MeasuredFields,
    WrittenQuantityField,
    optional_allergens,
)
from inventory.api.filters import LotFilter
from inventory.api.stock.ledger import CountSerializer
from inventory.domain.catalog.certificate import CERTIFIED
from inventory.domain.stock.lots import LotStatus
from inventory.models.stock.lots import Lot
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.stock.certificates import certify_lot, weigh_from
from inventory.services.stock.ledger import Origin
from inventory.services.stock.locks import balance_of
from inventory.services.stock.lots import set_lot_status
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.foundation.units.quantity import Quantity
from studio.web.api.callers import caller
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.api.stock_changing import stock_changing
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.web.serializer_fields.numbers import MoneyField
from studio.web.serializer_fields.quantities import StockAmountField
from studio.web.serializer_fields.writing import stock_json

REASON = 200
COUNTED = "material.counted"


class LotSerializer(MeasuredFields, StrictModelSerializer[Lot]):
    """A lot with its balances and its own certificate values."""

    cost_fields = ("cost",)
    material = CodeField()
    material_name = serializers.CharField(source="material.name", read_only=True)
    supplier = CodeField()
    location = CodeField()
    allergens = optional_allergens()
    received_amount = StockAmountField(counted=COUNTED)
    on_hand = StockAmountField(counted=COUNTED)
    reserved = StockAmountField(counted=COUNTED)
    available = serializers.SerializerMethodField(help_text="On hand and not reserved.")
    cost = MoneyField(read_only=True, help_text="Landed cost of what is on hand.")

    class Meta:
        model = Lot
        fields = (
            "code",
            "material",
            "material_name",
            "supplier",
            "supplier_lot",
            "location",
            "received_on",
            "best_before",
            "status",
            "status_reason",
            *CERTIFIED,
            "note",
            "received_amount",
            "on_hand",
            "reserved",
            "available",
            "cost",
            "created_at",
        )

    @extend_schema_field(StockAmountField(counted=COUNTED))
    def get_available(self, lot: Lot) -> dict[str, str]:
        return stock_json(balance_of(lot).available, counted=lot.material.counted)


class LotReasonSerializer(StrictSerializer):
    """Why; a lot is not blocked without saying so."""

    reason = serializers.CharField(max_length=REASON, required=False, allow_blank=True, default="")


class CountGivenSerializer(StrictSerializer):
    """What was found on the shelf, in any unit that fits."""

    found = WrittenQuantityField()
    counted_on = serializers.DateField(required=False, help_text="Today, if left out.")
    reason = serializers.CharField(max_length=REASON, required=False, allow_blank=True, default="")


class SpoilGivenSerializer(StrictSerializer):
    """What is written off, and why."""

    amount = WrittenQuantityField()
    reason = serializers.CharField(max_length=REASON)


class CertificateSerializer(MeasuredFields, StrictSerializer):
    """What the lot's certificate and label state. What is left out stays; null forgets a value."""

    allergens = optional_allergens()
    supplier_lot = serializers.CharField(max_length=60, required=False, allow_blank=True)
    best_before = serializers.DateField(required=False, allow_null=True)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)


class LotViewSet(ReadOnlyStudioViewSet):
    """Lots come in by deliveries and batches; here they are looked at, counted and judged."""

    queryset = Lot.objects.select_related("material", "supplier", "location").order_by("code")
    serializer_class = LotSerializer
    filterset_class = LotFilter
    ordering = ("code",)
    rules: ClassVar = dict.fromkeys(
        ("release", "quarantine", "block", "count", "spoil", "certificate"), Capability.KEEP_STOCK
    )
    given_serializers: ClassVar = {
        "release": LotReasonSerializer,
        "quarantine": LotReasonSerializer,
        "block": LotReasonSerializer,
        "count": CountGivenSerializer,
        "spoil": SpoilGivenSerializer,
        "certificate": CertificateSerializer,
    }
    answer_serializers: ClassVar = {"count": CountSerializer}
    statuses: ClassVar = {"count": 201}

    @action(detail=True, methods=["post"])
    @stock_changing
    def release(self, request: Request, code: str) -> Response:
        """Let the lot be reserved and used."""
        return self._set_status(request, LotStatus.RELEASED)

    @action(detail=True, methods=["post"])
    @stock_changing
    def quarantine(self, request: Request, code: str) -> Response:
        """Hold the lot back until it is released."""
        return self._set_status(request, LotStatus.QUARANTINE)

    @action(detail=True, methods=["post"])
    @stock_changing
    def block(self, request: Request, code: str) -> Response:
        """Keep the lot from being used; the reason is required."""
        return self._set_status(request, LotStatus.BLOCKED)

    @action(detail=True, methods=["post"])
    @stock_changing
    def count(self, request: Request, code: str) -> Response:
        """Bring the books to what was found."""
        given, lot = self.read(request), self.get_object()
        counted = Counted(
            lot_id=lot.pk,
            found=weighed(lot, given["found"], field="found"),
            on=given.get("counted_on") or timezone.localdate(),
            reason=given["reason"],
        )
        origin = Origin(reference=f"count:{lot.code}", by=caller(request), note=given["reason"])
        return self.answer(count_lot(counted, origin=origin))

    @action(detail=True, methods=["post"])
    @stock_changing
    def spoil(self, request: Request, code: str) -> Response:
        """Write off what spoiled, with its share of the cost."""
        given, lot = self.read(request), self.get_object()
        amount = weighed(lot, given["amount"], field="amount")
        origin = Origin(reference=f"spoil:{lot.code}", by=caller(request), note=given["reason"])
        spoil_lot(lot.pk, amount, origin=origin)
        return self.answer(self.get_object())

    @action(detail=True, methods=["post"])
    @stock_changing
    def certificate(self, request: Request, code: str) -> Response:
        """Keep what the lot's own certificate states; it goes before the material's values."""
        given = self.read(request)
        certify_lot(self.get_object().pk, given, by=caller(request))
        return self.answer(self.get_object())

    def _set_status(self, request: Request, status: LotStatus) -> Response:
        given = self.read(request)
        set_lot_status(self.get_object().pk, status, reason=given["reason"])
        return self.answer(self.get_object())


def weighed(lot: Lot, quantity: Quantity, *, field: str) -> int:
    """What is written of a lot in its stock unit; refusals name the field."""
    try:
        return weigh_from(lot, quantity)
    except Refusal as refusal:
        raise refusal.under(field) from refusal
