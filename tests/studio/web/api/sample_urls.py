"""Addresses of made-up endpoints on which the rules of the frame are tried."""

import threading
import uuid

from django.core.exceptions import ValidationError as ModelValidationError
from django.urls import include, path
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from inventory.models.catalog.suppliers import Supplier
from studio.foundation.errors import Fault, InvalidInput, NotFound, StateConflict
from studio.foundation.roles import Capability
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.api.stock_changing import stock_changing
from studio.web.api.verbs import look, verb
from studio.web.api.views import ComputeView, StudioView
from studio.web.api.viewsets import MasterViewSet, master_rules

#: The sample action waits here when it is asked to, so that a test can look in between.
ENTERED = threading.Event()
GO_ON = threading.Event()


class SupplierSerializer(StrictModelSerializer[Supplier]):
    cost_fields = ("minimum_order",)

    class Meta:
        model = Supplier
        fields = ("code", "name", "note", "minimum_order", "active", "revision")
        read_only_fields = ("revision",)


class GivenSerializer(StrictSerializer):
    code = serializers.SlugField()
    then = serializers.CharField(required=False)


class LineSerializer(StrictSerializer):
    amount = serializers.IntegerField(min_value=1)


class LinesSerializer(StrictSerializer):
    lines = LineSerializer(many=True)
    note = serializers.CharField(required=False)

    def validate(self, given):
        if len(given["lines"]) > 2:
            raise InvalidInput(
                faults=[
                    Fault("too-many", "At most two lines.", "lines"),
                    Fault("line-over", "One too many.", "lines.2.amount", {"most": 2}),
                ]
            )
        return given


class SupplierViewSet(MasterViewSet):
    queryset = Supplier.objects.order_by("code")
    serializer_class = SupplierSerializer
    filterset_fields = {"active": ["exact"], "name": ["exact"], "minimum_order": ["exact", "range"]}
    cost_filters = ("minimum_order", "minimum_order__range")
    ordering = ("code",)
    given_serializers = {"receive": GivenSerializer}
    rules = {**master_rules(Capability.KEEP_STOCK), "receive": Capability.KEEP_STOCK}
    statuses = {"receive": 201}

    @action(detail=False, methods=["post"])
    @stock_changing
    def receive(self, request):
        """Stand-in for a change of stock: leaves one row and an answer never given twice."""
        given = self.read(request)
        then = given.get("then")
        Supplier.objects.create(code=given["code"], name=str(uuid.uuid4()))
        if then == "refuse":
            raise StateConflict("Not now.")
        if then == "fail":
            raise RuntimeError("secret trace")
        if then == "answer 422":
            return Response({"made": "up"}, status=422)
        if then == "wait":
            ENTERED.set()
            assert GO_ON.wait(20)
        return self.answer(Supplier.objects.get(code=given["code"]))

    @verb(Capability.SETTLE, status=202, path="close-now")
    def close(self, request, code):
        """Nothing is asked for."""
        return self.get_object()

    @verb(Capability.SETTLE, given=GivenSerializer, answer=GivenSerializer, once=False)
    def echo(self, request, code, given):
        """What was given, as it was read."""
        return given

    @look(Capability.SETTLE, answer=GivenSerializer)
    def first_look(self, request, code):
        """A GET with an answer of its own."""
        return {"code": code, "then": "looked"}

    @action(detail=False, methods=["post"])
    def unruled(self, request):
        raise AssertionError("must never run")


class IdViewSet(MasterViewSet):
    queryset = Supplier.objects.all()
    serializer_class = SupplierSerializer
    lookup_field = "pk"
    rules = master_rules(Capability.SETTLE)


class DoubleView(ComputeView):
    given_serializer = LinesSerializer
    answer_serializer = LinesSerializer

    def compute(self, given):
        return {"lines": [{"amount": 2 * line["amount"]} for line in given["lines"]]}


class CostView(DoubleView):
    rules = {"post": (Capability.COMPUTE, Capability.SEE_COSTS)}


class RaisingView(StudioView):
    rules = {"get": Capability.READ}
    serializer_class = LinesSerializer

    RAISED = {
        "invalid": InvalidInput("Bad.", field="a.b", details={"least": 1}),
        "missing": NotFound("No such lot."),
        "conflict": StateConflict("Poured already."),
        "model": ModelValidationError({"name": ["Too short."]}),
        "bug": RuntimeError("secret trace"),
    }

    def get(self, request, sort):
        raise self.RAISED[sort]


router = SimpleRouter()
router.register("suppliers", SupplierViewSet, basename="sample-supplier")
router.register("by-id", IdViewSet, basename="sample-id")

sample = [
    path("double/", DoubleView.as_view()),
    path("costs/", CostView.as_view()),
    path("raising/<str:sort>/", RaisingView.as_view()),
    *router.urls,
]
urlpatterns = [path("api/sample/", include(sample)), path("", include("studio.urls"))]

handler400 = "studio.web.pages.failures.bad_request"
handler403 = "studio.web.pages.failures.forbidden"
handler404 = "studio.web.pages.failures.not_found"
handler500 = "studio.web.pages.failures.failed"
