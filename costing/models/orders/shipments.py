"""What has left for customers' orders, what it brought and cost, and what came back."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from costing.models.orders.sales import SalesOrder, SalesOrderLine
from studio.foundation.model_fields import MoneyField


class SalesShipment(models.Model):
    """A shipment that left for an order, in so many cartons.

    `packing_cost` is the cost of the packaging that went with it, `fees` what cards and markets
    take of its sale: both are selling costs and no part of what the bars cost (IAS 2 paragraph
    16(d)). `freight` and `freight_tax` are what the customer is asked for with this shipment.
    """

    order = models.ForeignKey(SalesOrder, on_delete=models.PROTECT, related_name="shipments")
    shipment = models.OneToOneField(
        "inventory.Shipment", on_delete=models.PROTECT, related_name="sale"
    )
    cartons = models.PositiveIntegerField()
    packing_cost = MoneyField(default=0)
    fees = MoneyField(default=0)
    freight = MoneyField(default=0)
    freight_tax = MoneyField(default=0)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(cartons__gt=0, packing_cost__gte=0), name="sales_shipment_amounts"
            ),
            models.CheckConstraint(
                condition=Q(fees__gte=0, freight__gte=0, freight_tax__gte=0),
                name="sales_shipment_money",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.shipment_id} for {self.order_id}"


class SalesShipmentLine(models.Model):
    """How many bars of a line left with a shipment: the revenue that they bring without tax, the
    tax, the cost that the ledger took off for them, and their part of the selling costs."""

    shipment = models.ForeignKey(SalesShipment, on_delete=models.PROTECT, related_name="lines")
    line = models.ForeignKey(SalesOrderLine, on_delete=models.PROTECT, related_name="shipments")
    bars = models.PositiveIntegerField()
    revenue = MoneyField()
    tax = MoneyField(default=0)
    cost = MoneyField(default=0)
    packing = MoneyField(default=0)
    fees = MoneyField(default=0)

    class Meta:
        ordering = ["shipment_id", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["shipment", "line"], name="one_line_per_sales_shipment"
            ),
            models.CheckConstraint(
                condition=Q(bars__gt=0, revenue__gte=0), name="sales_shipment_line_amounts"
            ),
            models.CheckConstraint(
                condition=Q(tax__gte=0, cost__gte=0, packing__gte=0, fees__gte=0),
                name="sales_shipment_line_costs",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.bars} of {self.line_id}"


class SalesShipmentLot(models.Model):
    """What one lot gave to a shipped line: its part of the lot's line in the shipment."""

    line = models.ForeignKey(SalesShipmentLine, on_delete=models.PROTECT, related_name="lots")
    shipped = models.ForeignKey(
        "inventory.ShipmentLine", on_delete=models.PROTECT, related_name="sales"
    )
    bars = models.PositiveIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["line", "shipped"], name="one_sales_lot_per_shipped_line"
            ),
            models.CheckConstraint(condition=Q(bars__gt=0), name="sales_shipment_lot_bars"),
        ]

    def __str__(self) -> str:
        return f"{self.bars} of {self.shipped_id}"


class SalesCredit(models.Model):
    """What came back of a shipped line: the revenue and tax that are given back, the cost that
    came back into the lot. Fees and packing stay spent."""

    line = models.ForeignKey(SalesShipmentLine, on_delete=models.PROTECT, related_name="credits")
    back = models.ForeignKey(
        "inventory.ShipmentReturn", on_delete=models.PROTECT, related_name="credits"
    )
    bars = models.PositiveIntegerField()
    revenue = MoneyField()
    tax = MoneyField(default=0)
    cost = MoneyField(default=0)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["line", "back"], name="one_credit_per_line_and_return"),
            models.CheckConstraint(
                condition=Q(bars__gt=0, revenue__gte=0, tax__gte=0, cost__gte=0),
                name="sales_credit_amounts",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.bars} of {self.line_id} back"
