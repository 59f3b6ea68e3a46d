"""Trace and recall: what went into a lot, what was made of it, and who has it."""

from typing import Any, ClassVar

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.fields import CodeField, PersonField
from inventory.domain.shipping.trace import Direction
from inventory.models.shipping.recalls import Recall
from inventory.models.stock.lots import Lot
from inventory.paper.recall import REPORT, recall_table, recall_values
from inventory.queries.shipping.recall import affected_by, recall_report
from inventory.queries.shipping.trace import trace
from inventory.services.shipping.recall import REASON_LENGTH, lift_recall, recall_lot
from studio.foundation.roles import Capability
from studio.foundation.tables.saved import SavedTable
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, YesNoFilter, by_code
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.api.stock_changing import stock_changing
from studio.web.api.viewsets import ReadOnlyStudioViewSet, StudioViewSet
from studio.web.downloads import Page, PaperView, TableView
from studio.web.serializer_fields.quantities import StockAmountField

DIRECTION = OpenApiParameter(
    "direction", str, enum=[one.value for one in Direction], description="Both, if left out."
)


class TracedLotSerializer(StrictSerializer):
    """A lot of a trace; `level` is the fewest steps from the lot that was asked about."""

    lot = serializers.CharField(source="code")
    level = serializers.IntegerField()
    material = serializers.CharField()
    material_name = serializers.CharField()
    kind = serializers.CharField()
    status = serializers.CharField()
    status_reason = serializers.CharField()
    received_on = serializers.DateField()
    received_amount = StockAmountField(counted="counted")
    on_hand = StockAmountField(counted="counted")
    supplier = serializers.CharField(help_text="Empty for what was made here.")
    supplier_lot = serializers.CharField()
    document = serializers.CharField(help_text='What brought it: "batch:B-00012".')


class TracedLinkSerializer(StrictSerializer):
    """So much of the parent, in its stock unit, went into the child."""

    from_lot = serializers.CharField(source="parent")
    into_lot = serializers.CharField(source="child")
    amount = StockAmountField(counted="counted")


class TraceDirectionSerializer(StrictSerializer):
    """The lots in one direction, the lot itself first, and the links between them."""

    lots = TracedLotSerializer(many=True)
    links = TracedLinkSerializer(many=True)


class ShippedSerializer(StrictSerializer):
    """What a customer still has of a lot: shipped less what came back."""

    lot = serializers.CharField()
    material = serializers.CharField()
    shipment = serializers.CharField()
    reference = serializers.CharField()
    shipped_on = serializers.DateField()
    amount = StockAmountField(counted="counted")


class CustomerShareSerializer(StrictSerializer):
    """What one customer still has."""

    customer = serializers.CharField()
    shipped = ShippedSerializer(many=True)


class HeldForSerializer(StrictSerializer):
    """What of a lot is reserved."""

    lot = serializers.CharField()
    holder = serializers.CharField()
    amount = StockAmountField(counted="counted")


class AffectedSerializer(StrictSerializer):
    """A lot and everything made of it, as it stands now."""

    lots = TracedLotSerializer(many=True, source="trace.lots")
    links = TracedLinkSerializer(many=True, source="trace.links")
    customers = CustomerShareSerializer(many=True)
    held = HeldForSerializer(many=True)


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


class RecallSerializer(StrictModelSerializer[Recall]):
    """A recall of a lot and everything made of it; lifted when `lifted_at` is set."""

    lot = CodeField()
    by = PersonField()
    lifted_by = PersonField()

    class Meta:
        model = Recall
        fields = (
            "code", "lot", "reason", "opened_at", "by", "lifted_at", "lifted_reason", "lifted_by",
        )  # fmt: skip


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
    rules: ClassVar = {"trace": Capability.READ, "recall": Capability.KEEP_STOCK}
    given_serializers: ClassVar = {"recall": RecallGivenSerializer}
    answer_serializers: ClassVar = {"recall": RecallReportSerializer}
    statuses: ClassVar = {"recall": 201}
    known_query: ClassVar = {"trace": ("direction",)}

    @extend_schema(parameters=[DIRECTION])
    @action(detail=True, methods=["get"])
    def trace(self, request: Request, code: str) -> Response:
        """What went into the lot and what was made of it, through every level, to customers."""
        asked = request.query_params.get("direction")
        if asked is not None and asked not in list(Direction):
            raise ValidationError({"direction": ["Write up or down."]}, "invalid-choice")
        return self.answer(
            {
                "lot": code,
                "made_of": trace(code, Direction.UP) if asked != Direction.DOWN else None,
                "made_into": affected_by(code) if asked != Direction.UP else None,
            }
        )

    @action(detail=True, methods=["post"])
    @stock_changing
    def recall(self, request: Request, code: str) -> Response:
        """Block the lot and everything made of it, and list which customers have some."""
        given: Any = self.read(request)
        recall = recall_lot(code, given["reason"], by=caller(request))
        return self.answer(recall_report(recall.code))


class RecallViewSet(ReadOnlyStudioViewSet):
    """Recalls, newest first; each shows what it reaches now."""

    queryset = Recall.objects.select_related("lot", "by", "lifted_by").order_by("-id")
    serializer_class = RecallSerializer
    filterset_class = RecallFilter
    ordering = ("-id",)
    rules: ClassVar = {"lift": Capability.KEEP_STOCK}
    given_serializers: ClassVar = {"lift": RecallLiftSerializer}
    answer_serializers: ClassVar = dict.fromkeys(("retrieve", "lift"), RecallReportSerializer)

    @extend_schema(responses=RecallReportSerializer)
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.answer(recall_report(kwargs["code"]))

    @action(detail=True, methods=["post"])
    @stock_changing
    def lift(self, request: Request, code: str) -> Response:
        """End the recall: what it still blocks is again what it was before."""
        given: Any = self.read(request)
        lift_recall(code, given["reason"], by=caller(request))
        return self.answer(recall_report(code))


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
