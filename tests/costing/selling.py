"""Rows that tests of quotes start from; prices and people are invented."""

from decimal import Decimal

from costing.models.bar_cost.packaging import PackagingEdition, PackagingSet
from costing.models.prices.prices import PriceEntry, Product, Tier
from costing.models.quotes.quotes import Customer
from tests.inventory.making import TODAY
from tests.recipes.making import Bench

UNIT = 10_000


def a_tier(code: str = "wholesale", **values: object) -> Tier:
    values.setdefault("name", code.capitalize())
    values.setdefault("wanted_margin", Decimal("0.5"))
    values.setdefault("floor_margin", Decimal("0.4"))
    return Tier.objects.create(code=code, **values)


def a_customer(code: str = "corner", **values: object) -> Customer:
    values.setdefault("name", "The Corner Shop (invented)")
    values.setdefault("email", "buyer@corner.example")
    if "tier" not in values:
        values["tier"] = Tier.objects.filter(code="wholesale").first() or a_tier()
    return Customer.objects.create(code=code, **values)


def a_product(bench: Bench, code: str = "plain-bar", **values: object) -> Product:
    values.setdefault("name", "Plain olive bar")
    values.setdefault("needs_no_packing", "packaging_set" not in values)
    return Product.objects.create(code=code, formula=bench.formula, mold=bench.mold, **values)


def a_packaging_set(code: str = "boxed", *, bars_per_carton: int = 24) -> PackagingSet:
    made = PackagingSet.objects.create(code=code, name=code.capitalize())
    PackagingEdition.objects.create(
        packaging_set=made, effective_from=TODAY, bars_per_carton=bars_per_carton
    )
    return made


def a_price(
    product: Product, price: int, *, tier: Tier, from_quantity: int = 1, **values: object
) -> PriceEntry:
    values.setdefault("effective_from", TODAY)
    return PriceEntry.objects.create(
        product=product, tier=tier, from_quantity=from_quantity, price=price, **values
    )
