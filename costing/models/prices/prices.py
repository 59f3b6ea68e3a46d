"""Products, tiers of buyers, and the price list by product, tier and quantity."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from costing.models.bar_cost.packaging import CODE_LENGTH, PackagingSet
from studio.foundation.histories import Records
from studio.foundation.model_fields import CodeField, FixedPointField, MoneyField, rules, said
from studio.models import Revised


class Product(Revised):
    """A bar as it is sold. Its stock are the bar lots of the formula.

    `mold` is the one its batches are usually made in: what a bar costs to replace, and how many
    bars a batch adds, is worked out from the formula's current version in it. Two products may be
    the same bar, packed in two ways. Without a packaging set nobody said how it is packed, unless
    it `needs_no_packing`: then packing costs nothing, else it is not known.
    """

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    name = models.CharField(max_length=120)
    formula = models.ForeignKey(
        "recipes.Formula", on_delete=models.PROTECT, related_name="products"
    )
    mold = models.ForeignKey("recipes.Mold", on_delete=models.PROTECT, related_name="products")
    packaging_set = models.ForeignKey(
        PackagingSet, on_delete=models.PROTECT, null=True, blank=True, related_name="products"
    )
    needs_no_packing = models.BooleanField(default=False)
    active = models.BooleanField(default=True)
    note = models.TextField(blank=True, max_length=2000)

    class Meta:
        ordering = ["code"]
        constraints = rules(
            product_packed_or_not=Q(needs_no_packing=False) | Q(packaging_set__isnull=True)
        )

    def __str__(self) -> str:
        return self.name


class Tier(Revised):
    """A step of the price ladder: direct, wholesale, distributor.

    Margins are shares of the price without tax. `wanted_margin` is what prices are set for, below
    `floor_margin` nothing is sold without an owner's word. Prices end on `ending` within each
    `step` (step 1.00 and ending 0.95 give 4.95, 5.95; step 0.05 and ending 0 give 4.90, 4.95).
    `tax_share` is the tax of the tier's sales, already in its prices where `tax_included`.
    """

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    name = models.CharField(max_length=120)
    position = models.PositiveIntegerField(default=0, help_text="Order on the ladder.")
    wanted_margin = FixedPointField(places=6)
    floor_margin = FixedPointField(places=6)
    step = MoneyField(default=1)
    ending = MoneyField(default=0)
    tax_share = FixedPointField(places=6, default=0)
    tax_included = models.BooleanField(default=False)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["position", "code"]
        constraints = rules(
            tier_margins=Q(floor_margin__gte=0, wanted_margin__gte=models.F("floor_margin"))
            & Q(wanted_margin__lt=1),
            tier_price_ending=Q(step__gte=1, ending__gte=0, ending__lt=models.F("step")),
            tier_tax_share=Q(tax_share__gte=0, tax_share__lt=1),
        )

    def __str__(self) -> str:
        return self.name


class PriceEntry(Revised):
    """The price of a bar of a product to a tier from a quantity on, from a day on.

    `floor` is a floor price of its own in place of the one that the tier's margin gives. An entry
    with `ended_on` holds no more from that day. A price under the floor has the owner's
    `override_reason`, and `override_floor` is the floor that it set aside: the margin watch keeps
    quiet until the floor rises above that.
    """

    costs = ("price", "floor", "override_floor")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="prices")
    tier = said(models.ForeignKey(Tier, on_delete=models.PROTECT, related_name="prices"), "Tier")
    from_quantity = said(models.PositiveIntegerField(default=1), "From so many bars on")
    price = said(MoneyField(), "Price of a bar")
    floor = said(MoneyField(null=True, blank=True), "A floor of its own")
    effective_from = said(models.DateField(), "From the day")
    ended_on = said(models.DateField(null=True, blank=True), "Holds no more from")
    override_reason = said(
        models.CharField(max_length=400, blank=True), "Why it is sold under its floor"
    )
    override_floor = said(MoneyField(null=True, blank=True), "The floor that was set aside")
    override_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    history = Records()

    class Meta:
        ordering = ["product_id", "tier_id", "from_quantity", "-effective_from"]
        verbose_name_plural = "price entries"
        constraints = rules(
            one_price_per_day=("product", "tier", "from_quantity", "effective_from"),
            price_entry_amounts=Q(price__gt=0, from_quantity__gte=1),
            price_entry_floor=Q(floor__isnull=True) | Q(floor__gt=0),
            price_entry_dates=Q(ended_on__isnull=True)
            | Q(ended_on__gte=models.F("effective_from")),
            price_entry_override_has_reason=Q(override_by__isnull=True, override_floor__isnull=True)
            | (Q(override_floor__isnull=False) & ~Q(override_reason="")),
        )

    def __str__(self) -> str:
        return f"{self.product_id} to {self.tier_id} from {self.from_quantity}"
