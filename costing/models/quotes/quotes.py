"""Customers, and the quotes they get. Once sent, a quote is frozen; triggers hold it so."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from costing.models.bar_cost.packaging import CODE_LENGTH
from costing.models.prices.prices import Product, Tier
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import CodeField, FixedPointField, MoneyField, rules
from studio.models import Revised
from studio.work.mails import Mail


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


class QuoteState(models.TextChoices):
    """A draft may change; what was sent waits for one answer, or its day passes."""

    DRAFT = "draft"
    SENT = "sent"
    ACCEPTED = "accepted"
    DECLINED = "declined"
    EXPIRED = "expired"


class Quote(Revised):
    """An offer of bars to a customer. Sums are kept as they were sent.

    `goods` is what the lines come to after their discounts, `tax` what is added to (or, where
    `tax_included`, is within) goods and freight; `total` is what the customer pays.
    `override_reason` is the owner's, for prices under the floor. `paper` holds every value that
    the sent letter shows, so that it can be printed again as it was.
    """

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="quotes")
    state = models.CharField(max_length=8, choices=QuoteState.choices, default=QuoteState.DRAFT)
    quoted_on = models.DateField()
    valid_until = models.DateField()
    wanted_on = models.DateField(null=True, blank=True)
    discount = FixedPointField(places=6, default=0)
    freight = MoneyField(default=0)
    tax_share = FixedPointField(places=6, default=0)
    tax_included = models.BooleanField(default=False)
    goods = MoneyField(default=0)
    tax = MoneyField(default=0)
    total = MoneyField(default=0)
    terms = models.CharField(max_length=400, blank=True)
    note = models.TextField(blank=True, max_length=2000, help_text="Printed in the letter.")
    override_reason = models.CharField(max_length=400, blank=True)
    override_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    paper = models.JSONField(default=dict, blank=True)
    replaces = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    by = DoerField()

    class Meta:
        ordering = ["-quoted_on", "-id"]
        constraints = rules(
            quote_validity=Q(valid_until__gte=F("quoted_on")),
            quote_discount_and_freight=Q(discount__gte=0, discount__lt=1, freight__gte=0),
            quote_tax=Q(tax_share__gte=0, tax_share__lt=1, tax__gte=0),
            quote_sums=Q(goods__gte=0, total__gte=0),
            quote_override_has_reason=Q(override_by__isnull=True) | ~Q(override_reason=""),
            quote_known_state=Q(state__in=QuoteState.values),
        )
        indexes = [models.Index(fields=["state", "valid_until"], name="quote_by_state")]

    def __str__(self) -> str:
        return self.code


class QuoteLine(models.Model):
    """So many bars of a product. `list_price` is the tier's for the quantity, `price` what is asked
    for a bar, `amount` = quantity x price less the line's part of the quote's discount, rounded.
    `own_price` and `own_carton` are what was named for this line in place of the list's price and
    the packaging set's carton.

    Costs and floor are those of the day it was last worked out, by the bar: `cost_actual` of the
    bars in stock, `cost_replacement` of making them anew; null where nobody can tell. Without a
    `floor` that is known, `floor_at_least` is the least that it can be. `fees` are what selling a
    bar costs, which is no part of those (IAS 2 paragraph 16(d)). `promise` says from what the bars
    come: plain values with dates, amounts and batch or lot codes.
    """

    quote = models.ForeignKey(Quote, on_delete=models.CASCADE, related_name="lines")
    position = models.PositiveIntegerField()
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="quote_lines")
    quantity = models.PositiveIntegerField()
    bars_per_carton = models.PositiveIntegerField()
    tier = models.ForeignKey(Tier, on_delete=models.PROTECT, related_name="+")
    own_carton = models.PositiveIntegerField(null=True, blank=True)
    list_price = MoneyField(null=True, blank=True)
    own_price = MoneyField(null=True, blank=True)
    price = MoneyField()
    amount = MoneyField()
    cost_actual = MoneyField(null=True, blank=True)
    cost_replacement = MoneyField(null=True, blank=True)
    fees = MoneyField(null=True, blank=True)
    floor = MoneyField(null=True, blank=True)
    floor_at_least = MoneyField(null=True, blank=True)
    promised_on = models.DateField(null=True, blank=True)
    promise = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["quote_id", "position"]
        constraints = rules(
            one_line_per_quote_position=("quote", "position"),
            quote_line_amounts=Q(quantity__gt=0, bars_per_carton__gt=0, price__gt=0, amount__gte=0),
        )

    def __str__(self) -> str:
        return f"{self.quote_id}.{self.position}"


class QuoteEvent(models.Model):
    """What happened to a quote, in order: each change of state, with who and why."""

    quote = models.ForeignKey(Quote, on_delete=models.PROTECT, related_name="events")
    state = models.CharField(max_length=8, choices=QuoteState.choices)
    at = models.DateTimeField(auto_now_add=True)
    note = models.CharField(max_length=400, blank=True)
    by = DoerField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.quote_id} {self.state}"


class QuoteMail(Mail):
    """A quote's mail with its letter: written when the quote is sent, mailed after that."""

    quote = models.ForeignKey(Quote, on_delete=models.PROTECT, related_name="mails")
    to = models.EmailField()
    size = models.CharField(max_length=6, default="a4", help_text="Of the attached letter.")
