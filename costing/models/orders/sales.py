"""Customers' orders: what was sold, holds it, makes it, left for it and came back."""

from django.db import models
from django.db.models import F, Q

from costing.models.bar_cost.packaging import CODE_LENGTH
from costing.models.prices.prices import Product
from costing.models.quotes.quotes import Customer, Quote
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import CodeField, FixedPointField, MoneyField, rules
from studio.models import Revised


class SalesOrderState(models.TextChoices):
    """Open until everything has left or the rest is called off."""

    OPEN = "open"
    SHIPPED = "shipped"
    CANCELLED = "cancelled"


class SalesOrder(Revised):
    """An order of bars by a customer, usually an accepted quote; sums as they were agreed."""

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="orders")
    quote = models.OneToOneField(
        Quote, on_delete=models.PROTECT, null=True, blank=True, related_name="order"
    )
    state = models.CharField(
        max_length=9, choices=SalesOrderState.choices, default=SalesOrderState.OPEN
    )
    ordered_on = models.DateField()
    due_on = models.DateField()
    reference = models.CharField(max_length=80, blank=True, help_text="The customer's own number.")
    freight = MoneyField(default=0)
    tax_share = FixedPointField(places=6, default=0)
    tax_included = models.BooleanField(default=False)
    goods = MoneyField(default=0)
    tax = MoneyField(default=0)
    total = MoneyField(default=0)
    terms_days = models.PositiveIntegerField(default=30)
    terms = models.CharField(max_length=400, blank=True)
    note = models.TextField(blank=True, max_length=2000)
    by = DoerField()

    class Meta:
        ordering = ["-ordered_on", "-id"]
        constraints = rules(
            sales_order_dates=Q(due_on__gte=F("ordered_on")),
            sales_order_sums=Q(goods__gte=0, freight__gte=0, tax__gte=0, total__gte=0),
            sales_order_known_state=Q(state__in=SalesOrderState.values),
        )
        indexes = [models.Index(fields=["state", "due_on"], name="sales_order_by_state")]

    def __str__(self) -> str:
        return self.code

    @property
    def holder(self) -> str:
        """The name under which it requires bars in the inventory."""
        return f"order:{self.code}"


class SalesOrderLine(models.Model):
    """So many bars at a price; `shipped` and `returned` grow with shipments and returns."""

    order = models.ForeignKey(SalesOrder, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="order_lines")
    quantity = models.PositiveIntegerField()
    bars_per_carton = models.PositiveIntegerField()
    price = MoneyField()
    amount = MoneyField()
    promised_on = models.DateField(null=True, blank=True)
    shipped = models.PositiveIntegerField(default=0)
    returned = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["order_id", "position"]
        constraints = rules(
            one_line_per_sales_order_position=("order", "position"),
            sales_order_line_amounts=Q(
                quantity__gt=0, bars_per_carton__gt=0, price__gt=0, amount__gte=0
            )
            & Q(shipped__lte=F("quantity"), returned__lte=F("shipped")),
        )

    def __str__(self) -> str:
        return f"{self.order_id}.{self.position}"


class SalesOrderHold(models.Model):
    """What the order's reservation holds of a lot of cured bars for a line.

    `remaining` falls as they leave or are given back. An order has one open reservation at most;
    rows of one that has ended hold nothing, whatever they say.
    """

    line = models.ForeignKey(SalesOrderLine, on_delete=models.PROTECT, related_name="holds")
    reservation = models.ForeignKey(
        "inventory.Reservation", on_delete=models.PROTECT, related_name="sales_holds"
    )
    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="sales_holds")
    amount = models.PositiveIntegerField()
    remaining = models.PositiveIntegerField()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        constraints = rules(
            one_sales_hold_per_line_and_lot=("line", "reservation", "lot"),
            sales_hold_amounts=Q(amount__gt=0, remaining__lte=F("amount")),
        )

    def __str__(self) -> str:
        return f"{self.remaining} of {self.lot_id} for {self.line_id}"


class SalesOrderBatch(models.Model):
    """A batch that makes bars for a line: planned for it, or already under way."""

    line = models.ForeignKey(SalesOrderLine, on_delete=models.PROTECT, related_name="batches")
    batch = models.ForeignKey(
        "recipes.Batch", on_delete=models.PROTECT, related_name="sales_orders"
    )
    bars = models.PositiveIntegerField()
    planned_here = models.BooleanField(default=True)

    class Meta:
        ordering = ["id"]
        constraints = rules(
            one_line_per_sales_batch=("line", "batch"), sales_batch_bars=Q(bars__gt=0)
        )

    def __str__(self) -> str:
        return f"{self.bars} of {self.batch_id} for {self.line_id}"


class SalesOrderEvent(models.Model):
    """What happened to an order, in order."""

    order = models.ForeignKey(SalesOrder, on_delete=models.PROTECT, related_name="events")
    what = models.CharField(max_length=20)
    note = models.CharField(max_length=400, blank=True)
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.order_id} {self.what}"


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
        constraints = rules(
            sales_shipment_amounts=Q(cartons__gt=0, packing_cost__gte=0),
            sales_shipment_money=Q(fees__gte=0, freight__gte=0, freight_tax__gte=0),
        )

    def __str__(self) -> str:
        return f"{self.shipment_id} for {self.order_id}"


class SalesShipmentLine(models.Model):
    """How many bars of a line left with a shipment: the revenue that they bring without tax, the
    tax, the cost that the ledger took off for them, and their part of the selling costs.

    Unless `cost_known`, some rate or time of their labor or overhead was missing when they left;
    unless `packing_known`, nobody had said how they are packed.
    """

    shipment = models.ForeignKey(SalesShipment, on_delete=models.PROTECT, related_name="lines")
    line = models.ForeignKey(SalesOrderLine, on_delete=models.PROTECT, related_name="shipments")
    bars = models.PositiveIntegerField()
    revenue = MoneyField()
    tax = MoneyField(default=0)
    cost = MoneyField(default=0)
    cost_known = models.BooleanField(default=True)
    packing = MoneyField(default=0)
    packing_known = models.BooleanField(default=True)
    fees = MoneyField(default=0)

    class Meta:
        ordering = ["shipment_id", "id"]
        constraints = rules(
            one_line_per_sales_shipment=("shipment", "line"),
            sales_shipment_line_amounts=Q(bars__gt=0, revenue__gte=0),
            sales_shipment_line_costs=Q(tax__gte=0, cost__gte=0, packing__gte=0, fees__gte=0),
        )

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
        constraints = rules(
            one_sales_lot_per_shipped_line=("line", "shipped"),
            sales_shipment_lot_bars=Q(bars__gt=0),
        )

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
    by = DoerField()

    class Meta:
        ordering = ["id"]
        constraints = rules(
            one_credit_per_line_and_return=("line", "back"),
            sales_credit_amounts=Q(bars__gt=0, revenue__gte=0, tax__gte=0, cost__gte=0),
        )

    def __str__(self) -> str:
        return f"{self.bars} of {self.line_id} back"
