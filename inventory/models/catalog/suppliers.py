"""Suppliers and what they offer."""

from datetime import date

from django.db import models
from django.db.models import Q

from inventory.domain.catalog.packs import PriceBreak, pack_price
from inventory.models.catalog.materials import CODE_LENGTH, Material, empty_or_positive
from studio.foundation.model_fields import (
    MONEY,
    Between,
    CodeField,
    FixedPointField,
    MoneyField,
    StockField,
    rules,
    said,
)
from studio.models import Revised

LONGEST_LEAD_TIME_DAYS = 730
LEAD_TIME = Between(
    0, LONGEST_LEAD_TIME_DAYS, f"A lead time is from 0 to {LONGEST_LEAD_TIME_DAYS} days."
)


class Supplier(Revised):
    """Somebody the studio buys from.

    An order costs `freight` unless its goods are worth `free_freight_from`; placing it and taking
    it in costs the studio `order_handling`, or what the studio reckons for any order when empty.
    """

    #: Fields that only those who may see costs read and write.
    costs = ("minimum_order", "freight", "free_freight_from", "order_handling")

    code = said(
        CodeField(max_length=CODE_LENGTH, unique=True),
        "Short code",
        "Letters, digits and dashes: mill-lane.",
        meaning="the code by which the supplier is found",
        example="mill-lane",
    )
    name = said(
        models.CharField(max_length=120),
        "Name",
        meaning="the supplier's name",
        example="Mill Lane Oils",
    )
    email = said(
        models.EmailField(blank=True),
        "E-mail",
        "Orders are mailed there.",
        meaning="where orders are mailed to",
        example="orders@example.org",
    )
    phone = said(models.CharField(max_length=40, blank=True), "Phone", meaning="telephone")
    lead_time_days = said(
        models.PositiveIntegerField(default=7, validators=[LEAD_TIME]),
        "Days from order to delivery",
        meaning="from order to delivery; empty: 7",
        unit="in days",
        example="10",
    )
    minimum_order = said(
        MoneyField(default=0, blank=True, validators=[MONEY]),
        "Smallest order",
        meaning="the least an order must be worth",
        example="50",
    )
    freight = said(
        MoneyField(default=0, blank=True, validators=[MONEY]),
        "Freight of an order",
        meaning="freight of each order",
        example="12.5",
    )
    free_freight_from = said(
        MoneyField(null=True, blank=True, validators=[MONEY]),
        "Free of freight from",
        "Goods worth this much.",
        meaning="goods worth this much come free of freight",
    )
    order_handling = said(
        MoneyField(null=True, blank=True, validators=[MONEY]),
        "What an order costs beside its goods",
        "In the studio's own time; empty: as for any order.",
        meaning="the studio's own cost of an order; empty: as for any order",
    )
    check_arrivals = said(
        models.BooleanField(default=False),
        "Check what arrives before it is used",
        "Its lots wait in quarantine until somebody releases them.",
        meaning="whether what arrives waits in quarantine until it was checked",
        example="no",
    )
    active = said(
        models.BooleanField(default=True),
        "Is bought from",
        meaning="whether still bought from",
        example="yes",
    )
    note = said(models.TextField(blank=True, max_length=2000), "Note", meaning="anything else")

    class Meta:
        ordering = ["code"]
        constraints = rules(
            supplier_minimum_order=Q(minimum_order__gte=0),
            supplier_freight=Q(freight__gte=0),
            supplier_free_freight=Q(free_freight_from__isnull=True) | Q(free_freight_from__gte=0),
            supplier_order_handling=Q(order_handling__isnull=True) | Q(order_handling__gte=0),
        )

    def __str__(self) -> str:
        return self.name


class Offer(Revised):
    """One pack size of a material at a supplier's price.

    `pack_written` keeps the pack as the supplier writes it ("1 gal"); `pack_amount` is the same
    in the material's stock unit, through the supplier's density where the pack is a volume.
    `price_breaks` holds [packs, price of a pack] pairs, read as `breaks`.
    """

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="offers")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="offers")
    supplier_item = models.CharField(max_length=60, blank=True)
    pack_written = models.CharField(max_length=64)
    pack_amount = StockField()
    density_g_ml = FixedPointField(places=6, null=True, blank=True)
    density_temperature_c = FixedPointField(places=3, null=True, blank=True)
    price = MoneyField()
    price_breaks = models.JSONField(default=list, blank=True)
    minimum_packs = models.PositiveIntegerField(default=1)
    lead_time_days = models.PositiveIntegerField(null=True, blank=True, validators=[LEAD_TIME])
    valid_from = models.DateField(null=True, blank=True)
    valid_until = models.DateField(null=True, blank=True)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            *rules(
                offer_pack_positive=Q(pack_amount__gt=0),
                offer_price=Q(price__gte=0),
                offer_minimum_packs=Q(minimum_packs__gte=1),
            ),
            empty_or_positive("density_g_ml", "offer_density_positive"),
            *rules(
                offer_validity=Q(valid_from__isnull=True)
                | Q(valid_until__isnull=True)
                | Q(valid_until__gte=models.F("valid_from"))
            ),
        ]
        indexes = [models.Index(fields=["material", "active"], name="offer_by_material")]

    def __str__(self) -> str:
        return f"{self.code} ({self.pack_written})"

    @property
    def breaks(self) -> tuple[PriceBreak, ...]:
        """The prices of larger purchases, ascending in packs."""
        return tuple(PriceBreak(packs, price) for packs, price in self.price_breaks)

    def price_of(self, packs: int) -> int:
        """What so many packs cost together when ordered at once, in ten-thousandths."""
        return packs * pack_price(packs, price=self.price, breaks=self.breaks)

    @property
    def days_to_come(self) -> int:
        """Days from order to delivery: the offer's own lead time, else the supplier's."""
        if self.lead_time_days is None:
            return self.supplier.lead_time_days
        return self.lead_time_days

    def holds_on(self, day: date) -> bool:
        """Whether it can be ordered on a day: active, and within its dates."""
        return (
            self.active
            and (self.valid_from is None or self.valid_from <= day)
            and (self.valid_until is None or day <= self.valid_until)
        )
