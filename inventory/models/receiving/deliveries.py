"""Deliveries: how bought stock comes in, with its landed cost."""

from django.db import models
from django.db.models import Q

from inventory.domain.receiving.landed_cost import Basis, ChargeKind
from inventory.models.buying.orders import PurchaseOrderLine
from inventory.models.catalog.materials import CODE_LENGTH, Material
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.models.stock.lots import Lot
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import CodeField, FixedPointField, MoneyField, StockField, rules


class Delivery(models.Model):
    """One delivery as received; it is corrected by counts and counter-entries, never edited.

    Only its day may be corrected, with that of its lots; the note keeps which one it was.
    """

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="deliveries")
    invoice = models.CharField(max_length=60, blank=True)
    received_on = models.DateField()
    note = models.TextField(blank=True, max_length=2000)
    created_at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["-received_on", "-id"]
        verbose_name_plural = "deliveries"

    def __str__(self) -> str:
        return self.code


class DeliveryLine(models.Model):
    """One line of the invoice: `written` as the supplier wrote it, `amount` in the stock unit."""

    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    offer = models.ForeignKey(
        Offer, on_delete=models.PROTECT, null=True, blank=True, related_name="delivery_lines"
    )
    order_line = models.ForeignKey(
        PurchaseOrderLine,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="delivery_lines",
    )
    packs = models.PositiveIntegerField(default=1)
    written = models.CharField(max_length=64)
    amount = StockField()
    density_g_ml = FixedPointField(places=6, null=True, blank=True)
    price = MoneyField()
    landed_cost = MoneyField()
    lot = models.OneToOneField(Lot, on_delete=models.PROTECT, related_name="delivery_line")

    class Meta:
        ordering = ["delivery_id", "position"]
        constraints = rules(
            one_line_per_delivery_position=("delivery", "position"),
            delivery_line_amount=Q(amount__gt=0),
            delivery_line_cost=Q(price__gte=0, landed_cost__gte=0),
        )

    def __str__(self) -> str:
        return f"{self.delivery_id}.{self.position}"


class DeliveryCharge(models.Model):
    """Freight, duty, a discount: what the invoice adds or takes beside its lines."""

    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="charges")
    kind = models.CharField(
        max_length=10, choices=[(kind.value, kind.value) for kind in ChargeKind]
    )
    basis = models.CharField(
        max_length=8,
        choices=[(basis.value, basis.value) for basis in Basis],
        default=Basis.VALUE.value,
    )
    amount = MoneyField(help_text="Signed: a discount is negative.")

    class Meta:
        ordering = ["id"]
        constraints = rules(
            delivery_charge_sign=Q(kind="discount", amount__lte=0)
            | (~Q(kind="discount") & Q(amount__gte=0))
        )

    def __str__(self) -> str:
        return f"{self.kind} {self.amount}"
