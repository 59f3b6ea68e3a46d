"""Lots: what stands on the shelf, what is done with it, and who changed what of it."""

from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import (
    OpenApiParameter,
    extend_schema,
    extend_schema_field,
    extend_schema_view,
)
from rest_framework import serializers
from rest_framework.request import Request

from inventory.api.fields import MeasuredFields, WrittenQuantityField, optional_allergens
from inventory.api.filters import LotFilter
from inventory.api.shipping.trace import TracedLotSerializer
from inventory.api.stock.contents import ContentsSerializer, shown_contents
from inventory.api.stock.holds import (
    DecisionSerializer,
    HoldGivenSerializer,
    LotHoldSerializer,
    LotReasonSerializer,
    read_decision,
)
from inventory.api.stock.ledger import CountSerializer
from inventory.domain.catalog.certificate import CERTIFIED
from inventory.domain.catalog.unusual import UNUSUAL
from inventory.domain.shipping.trace import Direction
from inventory.domain.stock.holds import Cause, Decision
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import CertificateConfirmation, Lot
from inventory.queries.shipping.trace import trace
from inventory.queries.stock.contents import contents_of
from inventory.queries.stock.holds import holds_with_people
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.receiving.receipt_day import REASON_LENGTH, correct_day_of_receipt
from inventory.services.stock.certificates import certify_lot, weigh_from
from inventory.services.stock.hold_verbs import decide_lot, end_cure, hold_lot, release_lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.locks import balance_of
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.foundation.units.quantity import Quantity
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.histories import HistoryViewSet
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.api.verbs import look, verb
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.numbers import MoneyField
from studio.web.serializer_fields.quantities import StockAmountField
from studio.web.serializer_fields.writing import stock_json

REASON = 200
COUNTED = "material.counted"


class ConfirmationSerializer(AnswerSerializer):
    """An unusual value of a certificate that somebody read again and confirmed."""

    shows = CertificateConfirmation
    says = ("code", "value", "at", "by.username as by")


class LotSerializer(MeasuredFields, StrictModelSerializer[Lot]):
    """A lot with its balances, its holds and its own certificate values.

    `state` is what its open holds say: none, released; to be checked or curing, quarantine;
    anything else, blocked. `state_reason` is their reasons in one text.
    """

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
    holds = LotHoldSerializer(many=True, read_only=True)
    confirmations = serializers.SerializerMethodField(
        help_text="Unusual values of its certificate, by whom they were confirmed."
    )

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
            "state",
            "state_reason",
            "holds",
            *CERTIFIED,
            "confirmations",
            "note",
            "received_amount",
            "on_hand",
            "reserved",
            "available",
            "cost",
            "created_at",
        )

    @extend_schema_field(ConfirmationSerializer(many=True))
    def get_confirmations(self, lot: Lot) -> Any:
        return ConfirmationSerializer(lot.confirmations.all(), many=True).data

    @extend_schema_field(StockAmountField(counted=COUNTED))
    def get_available(self, lot: Lot) -> dict[str, str]:
        return stock_json(balance_of(lot).available, counted=lot.material.counted)


class HeldLotSerializer(LotSerializer):
    """A lot that is held now, and what was made of it and is still here, held or not."""

    made_of_it = serializers.SerializerMethodField(
        help_text="Lots made of it at any depth that hold something: look at their `state`."
    )

    class Meta(LotSerializer.Meta):
        fields = (*LotSerializer.Meta.fields, "made_of_it")

    @extend_schema_field(TracedLotSerializer(many=True))
    def get_made_of_it(self, lot: Lot) -> Any:
        made = trace(lot.code, Direction.DOWN).standing
        return TracedLotSerializer(made, many=True, context=self.context).data


class CountGivenSerializer(StrictSerializer):
    """What was found on the shelf, in any unit that fits."""

    found = WrittenQuantityField()
    counted_on = serializers.DateField(required=False, help_text="Today, if left out.")
    reason = serializers.CharField(max_length=REASON, required=False, allow_blank=True, default="")


class SpoilGivenSerializer(StrictSerializer):
    """What is written off, and why."""

    amount = WrittenQuantityField()
    spoiled_on = serializers.DateField(required=False, help_text="Today, if left out.")
    reason = serializers.CharField(max_length=REASON)


class ReceivedOnSerializer(StrictSerializer):
    """The day on which the lot really came in, and why it stood otherwise in the books."""

    received_on = serializers.DateField()
    reason = serializers.CharField(max_length=REASON_LENGTH)


class CertificateSerializer(MeasuredFields, StrictSerializer):
    """What the lot's certificate and label state. What is left out stays; null forgets a value."""

    allergens = optional_allergens()
    supplier_lot = serializers.CharField(max_length=60, required=False, allow_blank=True)
    best_before = serializers.DateField(required=False, allow_null=True)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)
    confirm = serializers.ListField(
        child=serializers.ChoiceField(list(UNUSUAL)),
        required=False,
        max_length=len(UNUSUAL),
        help_text="Codes of unusual values that were read again and are so; kept with who did.",
    )


class LotViewSet(ReadOnlyStudioViewSet):
    """Lots come in by deliveries and batches; here they are looked at, counted and judged."""

    queryset = (
        Lot.objects.select_related("material", "supplier", "location")
        .prefetch_related(holds_with_people(), "confirmations__by")
        .order_by("code")
    )
    serializer_class = LotSerializer
    filterset_class = LotFilter
    ordering = ("code",)

    @verb(Capability.KEEP_STOCK, given=HoldGivenSerializer, answer=HeldLotSerializer)
    def hold(self, request: Request, code: str, given: Any) -> Any:
        """Keep the lot from being used, for a reason, until somebody releases it.

        What was made of it before stays as it is unless `with_made_of` asks for it; `made_of_it`
        tells which lots those are.
        """
        return self._held(request, Cause(given["cause"]), given)

    @verb(Capability.KEEP_STOCK, given=LotReasonSerializer, answer=HeldLotSerializer)
    def quarantine(self, request: Request, code: str, given: Any) -> Any:
        """Have the lot checked as on its arrival before it is used."""
        return self._held(request, Cause.ARRIVAL, given)

    @extend_schema(deprecated=True)
    @verb(Capability.KEEP_STOCK, given=LotReasonSerializer, answer=HeldLotSerializer)
    def block(self, request: Request, code: str, given: Any) -> Any:
        """The same as `hold/` by hand."""
        return self._held(request, Cause.BY_HAND, given)

    @verb(Capability.KEEP_STOCK, given=LotReasonSerializer)
    def release(self, request: Request, code: str, given: Any) -> Any:
        """Lift what holds the lot by hand or on its arrival.

        Holds of other causes stay; where there are only those, 409 tells what lifts each. 409 too
        where nothing holds it.
        """
        release_lot(
            self.get_object().pk, reason=given["reason"], on=given.get("on"), by=caller(request)
        )
        return self.get_object()

    @verb(Capability.KEEP_STOCK, given=LotReasonSerializer)
    def end_cure(self, request: Request, code: str, given: Any) -> Any:
        """End the cure of bars that stood here before; those of a batch are released with it."""
        end_cure(
            self.get_object().pk, reason=given["reason"], on=given.get("on"), by=caller(request)
        )
        return self.get_object()

    @verb(Capability.DECIDE, given=DecisionSerializer)
    def decide(self, request: Request, code: str, given: Any) -> Any:
        """Decide what becomes of a lot that is held as lye-heavy or over a fragrance's limit."""
        decision = Decision(on=given.get("on") or timezone.localdate(), **read_decision(given))
        cause = Cause(given["cause"]) if "cause" in given else None
        decide_lot(self.get_object().pk, decision, cause=cause, by=caller(request))
        return self.get_object()

    @verb(Capability.KEEP_STOCK, given=CountGivenSerializer, answer=CountSerializer, status=201)
    def count(self, request: Request, code: str, given: Any) -> Any:
        """Bring the books to what was found."""
        lot = self.get_object()
        counted = Counted(
            lot_id=lot.pk,
            found=weighed(lot, given["found"], field="found"),
            on=given.get("counted_on") or timezone.localdate(),
            reason=given["reason"],
        )
        origin = Origin(reference=f"count:{lot.code}", by=caller(request), note=given["reason"])
        return count_lot(counted, origin=origin)

    @verb(Capability.KEEP_STOCK, given=SpoilGivenSerializer)
    def spoil(self, request: Request, code: str, given: Any) -> Any:
        """Write off what spoiled, with its share of the cost."""
        lot = self.get_object()
        amount = weighed(lot, given["amount"], field="amount")
        origin = Origin(
            reference=f"spoil:{lot.code}",
            by=caller(request),
            note=given["reason"],
            on=given.get("spoiled_on"),
            day_field="spoiled_on",
        )
        spoil_lot(lot.pk, amount, origin=origin)
        return self.get_object()

    @verb(Capability.KEEP_STOCK, given=CertificateSerializer)
    def certificate(self, request: Request, code: str, given: Any) -> Any:
        """Keep what the lot's own certificate states; it goes before the material's values."""
        confirmed = given.pop("confirm", ())
        certify_lot(self.get_object().pk, given, confirmed=confirmed, by=caller(request))
        return self.get_object()

    @look(Capability.READ, answer=ContentsSerializer)
    def contents(self, request: Request, code: str) -> Any:
        """What the lot consists of, by all that went into it and what was measured of it."""
        lot = self.get_object()
        return shown_contents(lot, contents_of([lot.pk])[lot.pk])

    @verb(Capability.KEEP_STOCK, given=ReceivedOnSerializer)
    def received_on(self, request: Request, code: str, given: Any) -> Any:
        """Correct the day the lot came in, and with it all that came in the same delivery."""
        correct_day_of_receipt(code, **given, by=caller(request))
        return self.get_object()

    def _held(self, request: Request, cause: Cause, given: Any) -> Any:
        hold_lot(self.get_object().pk, **{**given, "cause": cause}, by=caller(request))
        return self.get_object()


def weighed(lot: Lot, quantity: Quantity, *, field: str) -> int:
    """What is written of a lot in its stock unit; refusals name the field."""
    try:
        return weigh_from(lot, quantity)
    except Refusal as refusal:
        raise refusal.under(field) from refusal


CODE = OpenApiParameter("code", str, OpenApiParameter.PATH)


@extend_schema_view(list=extend_schema(parameters=[CODE]))
class LotHistoryViewSet(HistoryViewSet):
    """Changes of a lot; what moved its stock are its entries."""

    model: ClassVar = Lot


@extend_schema_view(list=extend_schema(parameters=[CODE]))
class MaterialHistoryViewSet(HistoryViewSet):
    """Changes of a material."""

    model: ClassVar = Material
