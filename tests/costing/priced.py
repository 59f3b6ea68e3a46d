"""A product with suppliers, tiers and prices to start from; all invented."""

from datetime import timedelta
from decimal import Decimal

from costing.models.prices.prices import PriceEntry, Product, Tier
from costing.models.quotes.quotes import Quote, QuoteLine
from costing.queries.prices.prices import floors
from costing.services.prices.prices import PriceDescription, set_prices
from inventory.models.catalog.suppliers import Offer
from inventory.services.catalog.suppliers import OfferDescription, save_offer
from tests.costing.making import make_free_rates
from tests.costing.selling import a_customer, a_product, a_tier
from tests.inventory.buying import a_supplier, an_offer
from tests.inventory.making import TODAY
from tests.recipes.making import Bench, make_bench

PACKS = {
    "olive": ("5 kg", 400_000),
    "coconut": ("5 kg", 300_000),
    "naoh": ("1 kg", 60_000),
    "water": ("5 kg", 20_000),
    "scent": ("100 g", 150_000),
    "box": ("100 each", 200_000),
}


def offered(bench: Bench) -> dict[str, Offer]:
    """An offer of every material of the bench, by the material's code."""
    supplier = a_supplier("press", name="Invented Press")
    return {
        code: an_offer(supplier, bench.materials[code], pack, price, code=f"{code}-pack")
        for code, (pack, price) in PACKS.items()
    }


def dearer(offer: Offer, times: str) -> None:
    """The offer at so many times its price, by the service that suppliers' prices go through."""
    save_offer(
        OfferDescription(
            code=offer.code,
            supplier=offer.supplier.code,
            material=offer.material.code,
            pack_written=offer.pack_written,
            price=int(offer.price * Decimal(times)),
        ),
        offer_id=offer.pk,
    )


def a_shelf() -> tuple[Product, Tier, dict[str, Offer]]:
    """A product that only exists on offers so far, wholesale on five cents, and the offers.

    Labor and overhead cost nothing.
    """
    make_free_rates()
    bench = make_bench()
    offers = offered(bench)
    return a_product(bench), a_tier(step=500), offers


def floor_of(product: Product, tier: Tier, quantity: int = 1) -> int:
    found = floors([product.pk], [tier.pk], on=TODAY)[product.pk, tier.pk].at(quantity)
    assert found is not None
    return found


def priced(product: Product, tier: Tier, price: int, **values: object) -> PriceEntry:
    """A price kept through the service, from today unless told otherwise."""
    reason, by = values.pop("override_reason", ""), values.pop("by", None)
    values.setdefault("effective_from", TODAY)
    described = PriceDescription(product=product.code, tier=tier.code, price=price, **values)
    return set_prices([described], override_reason=reason, by=by)[0]


def quoted(product: Product, tier: Tier, price: int, **values: object) -> Quote:
    """A draft of 24 bars, or what `values` say of the quote."""
    customer = a_customer(tier=tier)
    floor = values.pop("floor", None)
    values.setdefault("valid_until", TODAY + timedelta(days=30))
    quote = Quote.objects.create(code="Q-00001", customer=customer, quoted_on=TODAY, **values)
    QuoteLine.objects.create(
        quote=quote,
        position=1,
        product=product,
        quantity=24,
        bars_per_carton=24,
        tier=tier,
        price=price,
        amount=24 * price,
        floor=floor,
    )
    return quote
