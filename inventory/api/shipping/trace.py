"""Trace and recall: what went into a lot, what was made of it, and who has it."""

from typing import Any, ClassVar

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.domain.shipping.trace import (
    CustomerShare,
    Direction,
    HeldFor,
    Shipped,
    Trace,
    TracedLink,
    TracedLot,
)
from inventory.models.shipping.recalls import Recall
from inventory.models.stock.lots import Lot
from inventory.paper.recall import REPORT, recall_table, recall_values
from inventory.queries.shipping.recall import Affected, affected_by, recall_report
from inventory.queries.shipping.trace import trace
from inventory.services.shipping.recall import REASON_LENGTH, lift_recall, recall_lot
from studio.foundation.roles import Capability
from studio.foundation.tables.saved import SavedTable
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, YesNoFilter, by_code
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import look, verb
from studio.web.api.viewsets import ReadOnlyStudioViewSet, StudioViewSet
from studio.web.downloads import Page, PaperView, TableView

DIRECTION = OpenApiParameter(
    "direction", str, enum=[one.value for one in Direction], description="Both, if left out."
)


class TracedLotSerializer(AnswerSerializer):
    """A lot of a trace; `level` is the fewest steps from the lot that was asked about."""

    shows = TracedLot
    says = (
        *("code as lot", "level", "material", "material_name", "kind", "state", "state_reason"),
        *("received_on", "received_amount", "on_hand", "supplier", "supplier_lot", "document"),
    )
    supplier = serializers.CharField(help_text="Empty for what was made here.")
    document = serializers.CharField(help_text='What brought it: "batch:B-00012".')


class TracedLinkSerializer(AnswerSerializer):
    """So much of the parent, in its stock unit, went into the child."""

    shows = TracedLink
    says = ("parent as from_lot", "child as into_lot", "amount")


class TraceDirectionSerializer(AnswerSerializer):
    """The lots in one direction, the lot itself first, and the links between them."""

    shows = Trace
    says = ("lots", "links")


class ShippedSerializer(AnswerSerializer):
    """What a customer still has of a lot: shipped less what came back."""

    shows = Shipped
    says = ("lot", "material", "shipment", "reference", "shipped_on", "amount")


class CustomerShareSerializer(AnswerSerializer):
    """What one customer still has."""

    shows = CustomerShare


class HeldForSerializer(AnswerSerializer):
    """What of a lot is reserved."""

    shows = HeldFor
    says = ("lot", "holder", "amount")


class AffectedSerializer(AnswerSerializer):
    """A lot and everything made of it, as it stands now."""

    shows = Affected
    says = ("trace.lots", "trace.links", "customers", "held")


class TraceSerializer(StrictSerializer):
    """Both ways of a lot; a way that was not asked for is null."""

    lot = serializers.CharField()
    made_of = TraceDirectionSerializer(allow_null=True)
    made_into = AffectedSerializer(allow_null=True)


class RecallGivenSerializer(StrictSerializer):
    """Why it is recalled."""

    reason = serializers.CharField(max_length=REASON_LENGTH)


class RecallLiftSerializer(StrictSerializer):
    """Why the recall ends."""

    reason = serializers.CharField(max_length=REASON_LENGTH)


class RecallSerializer(AnswerSerializer):
    """A recall of a lot and everything made of it; lifted when `lifted_at` is set."""

    shows = Recall
    says = (
        *("code", "lot.code as lot", "reason", "opened_at", "by.username as by", "lifted_at"),
        *("lifted_reason", "lifted_by.username as lifted_by"),
    )


class RecallReportSerializer(StrictSerializer):
    """A recall with what it reaches now."""

    recall = RecallSerializer()
    affected = AffectedSerializer()


class RecallFilter(Filters):
    """Recalls."""

    lot = by_code("lot")
    open = YesNoFilter(field_name="lifted_at", lookup_expr="isnull")


class LotTraceViewSet(StudioViewSet):
    """A lot's trace, and its recall."""

    queryset = Lot.objects.order_by("code")
    serializer_class = TraceSerializer
    known_query: ClassVar = {"trace": ("direction",)}

    @extend_schema(parameters=[DIRECTION])
    @look(Capability.READ)
    def trace(self, request: Request, code: str) -> Any:
        """What went into the lot and what was made of it, through every level, to customers."""
        asked = request.query_params.get("direction")
        if asked is not None and asked not in list(Direction):
            raise ValidationError({"direction": ["Write up or down."]}, "invalid-choice")
        return {
            "lot": code,
            "made_of": trace(code, Direction.UP) if asked != Direction.DOWN else None,
            "made_into": affected_by(code) if asked != Direction.UP else None,
        }

    @verb(
        Capability.KEEP_STOCK,
        given=RecallGivenSerializer,
        answer=RecallReportSerializer,
        status=201,
    )
    def recall(self, request: Request, code: str, given: Any) -> Any:
        """Hold the lot and everything made of it, and list which customers have some."""
        recall = recall_lot(code, given["reason"], by=caller(request))
        return recall_report(recall.code)


class RecallViewSet(ReadOnlyStudioViewSet):
    """Recalls, newest first; each shows what it reaches now."""

    queryset = Recall.objects.select_related("lot", "by", "lifted_by").order_by("-id")
    serializer_class = RecallSerializer
    filterset_class = RecallFilter
    ordering = ("-id",)
    answer_serializers: ClassVar = {"retrieve": RecallReportSerializer}

    @extend_schema(responses=RecallReportSerializer)
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.answer(recall_report(kwargs["code"]))

    @verb(Capability.KEEP_STOCK, given=RecallLiftSerializer, answer=RecallReportSerializer)
    def lift(self, request: Request, code: str, given: Any) -> Any:
        """End the recall: its holds are lifted; those of other causes and recalls stay."""
        lift_recall(code, given["reason"], by=caller(request))
        return recall_report(code)


class RecallPaperView(PaperView):
    """The recall report on paper: customers to tell first, then every lot to set aside."""

    def page(self, **kwargs: Any) -> Page:
        report = recall_report(kwargs["code"])
        return Page(
            template=REPORT, values=recall_values(report), name=f"{report.recall.code}-recall"
        )


class RecallTableView(TableView):
    """The recall report as a table: a row for each lot and customer."""

    def table(self, request: Request, **kwargs: Any) -> SavedTable:
        return recall_table(recall_report(kwargs["code"]))
