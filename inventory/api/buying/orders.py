"""Purchase orders: drafted, placed, sent, received against, closed or cancelled."""

from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from inventory.api.fields import PackField
from inventory.api.filters import OrderFilter
from inventory.api.receiving.deliveries import (
    ConfirmField,
    DeliveryChargeSerializer,
    read_charge,
    read_or_tell_all,
)
from inventory.models.buying.orders import OrderMail, PurchaseOrder, PurchaseOrderLine
from inventory.queries.stock.on_order import find_order, orders
from inventory.services.buying.order_papers import TEMPLATE, order_table, order_values, send_order
from inventory.services.buying.orders import (
    Ordered,
    OrderedLine,
    cancel_order,
    close_order,
    place_order,
)
from inventory.services.receiving.against_orders import (
    Arrived,
    OrderArrival,
    faults_of_arrival,
    receive_order,
)
from studio.foundation.paper.codes import qr_svg
from studio.foundation.roles import Capability
from studio.foundation.tables.saved import SavedTable
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.views import StudioView
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.web.downloads import CSV, Page, PaperView, TableView
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.numbers import MoneyField

COUNTED = "material.counted"


class OrderLineSerializer(AnswerSerializer):
    """Packs of one offer; `received` grows with each delivery booked against the line."""

    shows = PurchaseOrderLine
    says = (
        *("position", "offer.code as offer", "material.code as material", "packs", "amount"),
        *("received", "outstanding", "over_delivered", "price", "billed", "price_difference"),
    )
    counted = "material.counted"
    cost_fields = ("price", "billed", "price_difference")
    billed = MoneyField(help_text="What invoices asked for what has come.")
    price_difference = MoneyField(help_text="Billed less what was agreed for that.")


class OrderMailSerializer(AnswerSerializer):
    """The order's mail to its supplier; `sent_at` is null until a worker has handed it over."""

    shows = OrderMail
    says = ("to", "created_at", "sent_at", "attempts", "trouble")


class OrderSerializer(AnswerSerializer):
    """An order with its lines."""

    shows = PurchaseOrder
    says = (
        *("code", "supplier.code as supplier", "state", "ordered_on", "expected_on", "note"),
        *("plan", "by.username as by", "lines", "mails", "revision"),
    )
    plan = CodeField(allow_null=True, help_text="The buy plan that it comes from.")


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


class OrderSendSerializer(StrictSerializer):
    """How to send it."""

    mail = serializers.BooleanField(
        required=False, default=True, help_text="False places a draft without a mail."
    )


class ArrivedSerializer(StrictSerializer):
    """Packs of one line, named by its position or by a scanned code."""

    cost_fields = ("price",)
    position = serializers.IntegerField(min_value=1, max_value=10_000, required=False)
    scan = serializers.CharField(
        max_length=60,
        required=False,
        help_text="Of an offer, the supplier's item, a material, or an earlier lot of it.",
    )
    packs = serializers.IntegerField(min_value=1)
    price = MoneyField(required=False, help_text="Of these packs; without it, what was agreed.")
    written = PackField(required=False, help_text="What one pack really held.")
    best_before = serializers.DateField(required=False)
    supplier_lot = serializers.CharField(max_length=60, required=False, allow_blank=True)
    lot_code = CodeField(required=False, help_text="The studio's next, if left out.")


class OrderArrivalSerializer(StrictSerializer):
    """What came of the order in one delivery."""

    cost_fields = ("charges",)
    received_on = serializers.DateField()
    invoice = serializers.CharField(max_length=60, required=False, allow_blank=True)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)
    confirm = ConfirmField()
    lines = ArrivedSerializer(many=True)
    charges = DeliveryChargeSerializer(many=True, required=False)


def _read(view: StudioView, request: Request, code: str) -> Any:
    """The body, with all that is wrong with what came told at once."""
    return read_or_tell_all(view, request, lambda rest: faults_of_arrival(code, _arrival(rest)))


class PurchaseOrderViewSet(ReadOnlyStudioViewSet):
    """What is on its way, newest first. Placing an order needs the right to see costs: it agrees
    to prices, and a supplier's minimum order is one."""

    queryset = orders()
    serializer_class = OrderSerializer
    filterset_class = OrderFilter
    ordering = ("-id",)

    @verb((Capability.KEEP_STOCK, Capability.SEE_COSTS), given=OrderedSerializer, status=201)
    def create(self, request: Request, given: Any) -> Any:
        """Place an order with one supplier."""
        lines = [OrderedLine(**line) for line in given.pop("lines")]
        order = place_order(Ordered(**given, lines=lines), by=caller(request))
        return self.made(self.get_queryset().get(pk=order.pk))

    @verb(Capability.KEEP_STOCK)
    def close(self, request: Request, code: str) -> Any:
        """Expect no more of it."""
        close_order(code)
        return self.get_object()

    @verb(Capability.KEEP_STOCK)
    def cancel(self, request: Request, code: str) -> Any:
        """Take it back as if it never was; only while nothing of it has come."""
        cancel_order(code)
        return self.get_object()

    @verb((Capability.KEEP_STOCK, Capability.SEE_COSTS), given=OrderSendSerializer)
    def send(self, request: Request, code: str, given: Any) -> Any:
        """Place a draft and mail it to its supplier, or mail one that was placed without."""
        send_order(code, on=timezone.localdate(), mail=given["mail"])
        return self.get_object()

    @verb(Capability.KEEP_STOCK, given=OrderArrivalSerializer, read=_read)
    def receive(self, request: Request, code: str, given: Any) -> Any:
        """Take in what came of it: a delivery with a lot for each line. Answers the order."""
        receive_order(code, _arrival(given), by=caller(request))
        return self.get_object()


def _arrival(given: Any) -> OrderArrival:
    """What came, of a body that was read; of one that was read in part, what there is of it."""
    return OrderArrival(
        received_on=given.get("received_on") or timezone.localdate(),
        invoice=given.get("invoice", ""),
        note=given.get("note", ""),
        lines=[Arrived(**line) for line in given.get("lines", ())],
        charges=[read_charge(charge) for charge in given.get("charges", ())],
        confirmed=frozenset(given.get("confirmed", ())),
    )


class OrderPaperView(PaperView):
    """The order on paper, with a code to scan back to it and places to tick what has come."""

    rules: ClassVar = {"get": (Capability.READ, Capability.SEE_COSTS)}

    def page(self, **kwargs: Any) -> Page:
        order = find_order(kwargs["code"])
        values = {**order_values(order), "code": qr_svg(order.code)}
        return Page(template=TEMPLATE, values=values, name=order.code)


class OrderTableView(TableView):
    """The order as comma-separated values."""

    rules: ClassVar = {"get": (Capability.READ, Capability.SEE_COSTS)}

    def table(self, request: Request, **kwargs: Any) -> SavedTable:
        return order_table(find_order(kwargs["code"]))

    @extend_schema(responses={(200, CSV): OpenApiTypes.STR})
    def get(self, request: Request, **kwargs: Any) -> Any:
        return super().get(request, **kwargs)
