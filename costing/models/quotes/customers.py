"""Customers: who buys, on which tier and terms."""

from django.db import models
from django.db.models import Q

from costing.models.bar_cost.packaging import CODE_LENGTH
from costing.models.prices.prices import Tier
from studio.foundation.model_fields import CodeField, FixedPointField, rules
from studio.models import Revised


class Customer(Revised):
    """A shop or somebody else who buys. `discount` is a share off the tier's prices."""

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    name = models.CharField(max_length=120)
    contact = models.CharField(max_length=120, blank=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    address = models.TextField(blank=True, max_length=400)
    tier = models.ForeignKey(Tier, on_delete=models.PROTECT, related_name="customers")
    discount = FixedPointField(places=6, default=0)
    terms_days = models.PositiveIntegerField(default=30)
    terms = models.CharField(max_length=400, blank=True)
    tax_exempt = models.BooleanField(default=False)
    active = models.BooleanField(default=True)
    note = models.TextField(blank=True, max_length=2000)

    class Meta:
        ordering = ["code"]
        constraints = rules(customer_discount=Q(discount__gte=0, discount__lt=1))

    def __str__(self) -> str:
        return self.name
