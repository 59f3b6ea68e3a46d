"""How orders are shown: bars to everyone, money to those who may see costs."""

from rest_framework import serializers

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


class HoldSerializer(AnswerSerializer):
    """Bars that are held out of a lot."""

    shows = SalesOrderHold
    says = ("lot.code as lot", "remaining as bars")


class OrderBatchSerializer(AnswerSerializer):
    """A batch that makes bars for the line; `planned_here` when it was planned for the order."""

    shows = SalesOrderBatch
    says = ("batch.code as batch", "batch.state", "batch.planned_on", "bars", "planned_here")


class SalesLineSerializer(AnswerSerializer):
    """Bars of a product: how many are held, being made, have left and came back.

    `price` is that of a bar, `amount` what the line comes to after a discount.
    """

    shows = SalesOrderLine
    says = (
        *("position", "product.code as product", "product.name", "quantity", "bars_per_carton"),
        *("price", "amount", "promised_on", "held", "missing", "shipped", "returned", "holds"),
        "batches",
    )
    cost_fields = ("price", "amount")
    held = serializers.SerializerMethodField()
    missing = serializers.SerializerMethodField()

    def get_held(self, line: SalesOrderLine) -> int:
        """Bars that are held for the line."""
        return held_of(line)

    def get_missing(self, line: SalesOrderLine) -> int:
        """Bars that have not left and that nothing holds; none once the order is closed."""
        if line.order.state != "open":
            return 0
        return line.quantity - line.shipped - held_of(line)


class CreditSerializer(AnswerSerializer):
    """What came back of a shipped line, and what is given back for it."""

    shows = SalesCredit
    says = (
        *("back.returned_on", "back.line.lot.code as lot", "bars", "back.reason", "revenue", "tax"),
        "cost",
    )
    cost_fields = ("revenue", "tax", "cost")


class SaleLineSerializer(AnswerSerializer):
    """Bars of a line that left: revenue without tax, what they cost by the ledger, and their part
    of packing and fees. Unless `cost_known`, a rate of their labor or overhead was missing when
    they left, and `cost` is only what the books knew."""

    shows = SalesShipmentLine
    says = (
        *("line.position as line", "line.product.code as product", "bars", "revenue", "tax"),
        *("cost", "cost_known", "packing", "fees", "credits"),
    )
    cost_fields = ("revenue", "tax", "cost", "cost_known", "packing", "fees")


class SaleSerializer(AnswerSerializer):
    """A shipment that left for the order."""

    shows = SalesShipment
    says = (
        *("shipment.code as shipment", "shipment.shipped_on", "cartons", "packing_cost", "fees"),
        *("freight", "freight_tax", "lines"),
    )
    cost_fields = ("packing_cost", "fees", "freight", "freight_tax")


class OrderEventSerializer(AnswerSerializer):
    """What happened, when, and by whom."""

    shows = SalesOrderEvent
    says = ("what", "note", "at", "by.username as by")


class SalesOrderSerializer(AnswerSerializer):
    """An order of a customer. Its sums are those that were agreed."""

    shows = SalesOrder
    says = (
        *("code", "customer.code as customer", "customer.name as customer_name"),
        *("quote.code as quote", "state", "ordered_on", "due_on", "reference", "freight"),
        *("tax_share", "tax_included", "goods", "tax", "total", "terms_days", "terms", "note"),
        *("revision", "created_at", "updated_at", "by.username as by", "lines", "shipments"),
        "events",
    )
    cost_fields = ("freight", "tax_share", "tax_included", "goods", "tax", "total")


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
