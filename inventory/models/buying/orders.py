"""Buy plans, and purchase orders: what is on its way."""

from fractions import Fraction

from django.db import models
from django.db.models import Q

from inventory.models.catalog.materials import CODE_LENGTH, Material
from inventory.models.catalog.suppliers import Offer, Supplier
from studio.foundation.doers import DoerField
from studio.foundation.hints import Money, Stock
from studio.foundation.model_fields import CodeField, MoneyField, StockField, rules
from studio.models import Revised
from studio.work.mails import Mail


class BuyPlan(models.Model):
    """What was found to be the cheapest way to buy what is needed, as it was found.

    `options` is what was asked for, `found` the answer with its proof and reasons: both hold plain
    values, amounts in stock units and money in ten-thousandths. Orders are made of it once.
    """

    class State(models.TextChoices):
        OPEN = "open"
        ORDERED = "ordered"

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    made_on = models.DateField()
    options = models.JSONField()
    found = models.JSONField()
    created_at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return self.code


class PurchaseOrder(Revised):
    """An order to a supplier. A draft is only written down; once placed, its open amounts count
    as on order until it is closed. `plan` is the buy plan that it comes from."""

    class State(models.TextChoices):
        DRAFT = "draft"
        PLACED = "placed"
        CLOSED = "closed"
        CANCELLED = "cancelled"

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    state = models.CharField(max_length=10, choices=State.choices, default=State.PLACED)
    ordered_on = models.DateField()
    expected_on = models.DateField()
    note = models.TextField(blank=True, max_length=2000)
    plan = models.ForeignKey(
        BuyPlan, on_delete=models.PROTECT, null=True, blank=True, related_name="orders"
    )
    by = DoerField()

    class Meta:
        ordering = ["-ordered_on", "-id"]
        constraints = rules(order_dates=Q(expected_on__gte=models.F("ordered_on")))

    def __str__(self) -> str:
        return self.code


class OrderMail(Mail):
    """An order's mail to its supplier: written when the order is placed, sent after that."""

    order = models.ForeignKey(PurchaseOrder, on_delete=models.PROTECT, related_name="mails")
    to = models.EmailField()


class PurchaseOrderLine(models.Model):
    """Packs of one offer; `received` grows with each delivery booked against the line."""

    order = models.ForeignKey(PurchaseOrder, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="order_lines")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="order_lines")
    packs = models.PositiveIntegerField()
    amount = StockField()
    price = MoneyField()
    received = StockField(default=0)

    class Meta:
        ordering = ["order_id", "position"]
        constraints = rules(
            one_line_per_order_position=("order", "position"),
            order_line_amounts=Q(amount__gt=0, packs__gt=0, price__gte=0, received__gte=0),
        )

    def __str__(self) -> str:
        return f"{self.order_id}.{self.position}"

    @property
    def outstanding(self) -> Stock:
        """What the line still has to bring, in stock units; never below zero."""
        return max(0, self.amount - self.received)

    @property
    def billed(self) -> Money:
        """What invoices asked for what came against the line, charges aside (ten-thousandths)."""
        return sum(line.price for line in self.delivery_lines.all())

    @property
    def price_difference(self) -> Money:
        """How much more than agreed was billed for what came; below zero when it was less.

        Agreed is the line's price in proportion to what came, rounded half to even.
        """
        return self.billed - round(Fraction(self.price * self.received, self.amount))

    @property
    def over_delivered(self) -> Stock:
        """How much more than ordered has come, in stock units."""
        return max(0, self.received - self.amount)
