"""How orders are shown: bars to everyone, money to those who may see costs."""

from rest_framework import serializers

from costing.api.rows import CodeField, PersonField
from costing.models.orders.sales import (
    SalesCredit,
    SalesOrder,
    SalesOrderBatch,
    SalesOrderEvent,
    SalesOrderHold,
    SalesOrderLine,
    SalesShipment,
    SalesShipmentLine,
)
from costing.queries.orders.sales import Pick, PickList, held_of
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictModelSerializer
from studio.web.serializer_fields.numbers import MoneyField, ShareField


class HoldSerializer(StrictModelSerializer[SalesOrderHold]):
    """Bars that are held out of a lot."""

    lot = CodeField()
    bars = serializers.IntegerField(source="remaining")

    class Meta:
        model = SalesOrderHold
        fields = ("lot", "bars")


class OrderBatchSerializer(StrictModelSerializer[SalesOrderBatch]):
    """A batch that makes bars for the line; `planned_here` when it was planned for the order."""

    batch = CodeField()
    state = serializers.CharField(source="batch.state")
    planned_on = serializers.DateField(source="batch.planned_on")

    class Meta:
        model = SalesOrderBatch
        fields = ("batch", "state", "planned_on", "bars", "planned_here")


class SalesLineSerializer(StrictModelSerializer[SalesOrderLine]):
    """Bars of a product: how many are held, being made, have left and came back.

    `price` is that of a bar, `amount` what the line comes to after a discount.
    """

    cost_fields = ("price", "amount")
    product = CodeField()
    name = serializers.CharField(source="product.name")
    price = MoneyField(read_only=True)
    amount = MoneyField(read_only=True)
    held = serializers.SerializerMethodField()
    missing = serializers.SerializerMethodField()
    holds = HoldSerializer(many=True, read_only=True)
    batches = OrderBatchSerializer(many=True, read_only=True)

    class Meta:
        model = SalesOrderLine
        fields = (
            "position", "product", "name", "quantity", "bars_per_carton", "price", "amount",
            "promised_on", "held", "missing", "shipped", "returned", "holds", "batches",
        )  # fmt: skip

    def get_held(self, line: SalesOrderLine) -> int:
        """Bars that are held for the line."""
        return held_of(line)

    def get_missing(self, line: SalesOrderLine) -> int:
        """Bars that have not left and that nothing holds; none once the order is closed."""
        if line.order.state != "open":
            return 0
        return line.quantity - line.shipped - held_of(line)


class CreditSerializer(StrictModelSerializer[SalesCredit]):
    """What came back of a shipped line, and what is given back for it."""

    cost_fields = ("revenue", "tax", "cost")
    lot = CodeField(source="back.line.lot")
    returned_on = serializers.DateField(source="back.returned_on")
    reason = serializers.CharField(source="back.reason")
    revenue = MoneyField(read_only=True)
    tax = MoneyField(read_only=True)
    cost = MoneyField(read_only=True)

    class Meta:
        model = SalesCredit
        fields = ("returned_on", "lot", "bars", "reason", "revenue", "tax", "cost")


class SaleLineSerializer(StrictModelSerializer[SalesShipmentLine]):
    """Bars of a line that left: revenue without tax, what they cost by the ledger, and their part
    of packing and fees."""

    cost_fields = ("revenue", "tax", "cost", "packing", "fees")
    line = serializers.IntegerField(source="line.position")
    product = CodeField(source="line.product")
    revenue = MoneyField(read_only=True)
    tax = MoneyField(read_only=True)
    cost = MoneyField(read_only=True)
    packing = MoneyField(read_only=True)
    fees = MoneyField(read_only=True)
    credits = CreditSerializer(many=True, read_only=True)

    class Meta:
        model = SalesShipmentLine
        fields = (
            "line", "product", "bars", "revenue", "tax", "cost", "packing", "fees", "credits",
        )  # fmt: skip


class SaleSerializer(StrictModelSerializer[SalesShipment]):
    """A shipment that left for the order."""

    cost_fields = ("packing_cost", "fees", "freight", "freight_tax")
    shipment = CodeField()
    shipped_on = serializers.DateField(source="shipment.shipped_on")
    packing_cost = MoneyField(read_only=True)
    fees = MoneyField(read_only=True)
    freight = MoneyField(read_only=True)
    freight_tax = MoneyField(read_only=True)
    lines = SaleLineSerializer(many=True, read_only=True)

    class Meta:
        model = SalesShipment
        fields = (
            "shipment", "shipped_on", "cartons", "packing_cost", "fees", "freight", "freight_tax",
            "lines",
        )  # fmt: skip


class OrderEventSerializer(StrictModelSerializer[SalesOrderEvent]):
    """What happened, when, and by whom."""

    by = PersonField()

    class Meta:
        model = SalesOrderEvent
        fields = ("what", "note", "at", "by")


class SalesOrderSerializer(StrictModelSerializer[SalesOrder]):
    """An order of a customer. Its sums are those that were agreed."""

    cost_fields = ("freight", "tax_share", "tax_included", "goods", "tax", "total")
    customer = CodeField()
    customer_name = serializers.CharField(source="customer.name")
    quote = CodeField(allow_null=True)
    freight = MoneyField(read_only=True)
    tax_share = ShareField(read_only=True)
    goods = MoneyField(read_only=True)
    tax = MoneyField(read_only=True)
    total = MoneyField(read_only=True)
    by = PersonField()
    lines = SalesLineSerializer(many=True, read_only=True)
    shipments = SaleSerializer(many=True, read_only=True)
    events = OrderEventSerializer(many=True, read_only=True)

    class Meta:
        model = SalesOrder
        fields = (
            "code", "customer", "customer_name", "quote", "state", "ordered_on", "due_on",
            "reference", "freight", "tax_share", "tax_included", "goods", "tax", "total",
            "terms_days", "terms", "note", "revision", "created_at", "updated_at", "by", "lines",
            "shipments", "events",
        )  # fmt: skip


class PickSerializer(AnswerSerializer):
    """Bars to take out of one lot; `cartons` is what the whole line fills, on its first lot."""

    shows = Pick


class PickListSerializer(AnswerSerializer):
    """What is to be picked for an order; `missing` are bars that nothing holds yet."""

    shows = PickList
    says = (
        *("order.code as order", "order.customer.name as customer", "order.due_on"),
        *("bars", "cartons", "missing", "picks"),
    )
