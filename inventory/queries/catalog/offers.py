"""What suppliers offer on a day, and a supplier with offers, orders and what came."""

from collections.abc import Iterable
from datetime import date
from fractions import Fraction

from django.db.models import Q, QuerySet

from inventory.models.buying.orders import PurchaseOrder
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.models.receiving.deliveries import Delivery
from studio.foundation.errors import NotFound


def current_offers(on: date) -> "QuerySet[Offer]":
    """Offers that hold on a day, of suppliers that are still bought from."""
    return Offer.objects.filter(
        Q(valid_from__isnull=True) | Q(valid_from__lte=on),
        Q(valid_until__isnull=True) | Q(valid_until__gte=on),
        active=True,
        supplier__active=True,
    )


def best_offers(materials: Iterable[int], *, on: date) -> dict[int, Offer]:
    """The offer with the lowest price per stock unit that holds on a day, by material id.

    A tie goes to the shorter lead time, then to the older offer. Freight is not in it: it is only
    known for a whole delivery. One query; each offer comes with its supplier.
    """
    offers = current_offers(on).filter(material__in=list(materials)).select_related("supplier")
    best: dict[int, Offer] = {}
    for offer in sorted(offers, key=_cheapest_first):
        best.setdefault(offer.material_id, offer)
    return best


def _cheapest_first(offer: Offer) -> tuple[Fraction, int, int]:
    return (Fraction(offer.price, offer.pack_amount), offer.days_to_come, offer.pk)


OPEN = ("draft", "placed")
NEWEST = 10


def supplier_at(code: str) -> Supplier:
    """A supplier by its code. One query. Raises NotFound."""
    found = Supplier.objects.filter(code=code).first()
    if found is None:
        raise NotFound(f"There is no supplier {code}.", field="supplier")
    return found


def offer_at(code: str) -> Offer:
    """An offer by its code, with its supplier and material. One query. Raises NotFound."""
    found = Offer.objects.select_related("supplier", "material").filter(code=code).first()
    if found is None:
        raise NotFound(f"There is no offer {code}.", field="offer")
    return found


def offers_of(supplier: Supplier) -> list[Offer]:
    """All that a supplier offers, what is offered still first, with its material. One query."""
    offers = supplier.offers.select_related("material")
    return list(offers.order_by("-active", "material__name", "code"))


def open_orders_of(supplier: Supplier) -> list[PurchaseOrder]:
    """Orders that are drafted or placed, the newest first. One query."""
    return list(PurchaseOrder.objects.filter(supplier=supplier, state__in=OPEN).order_by("-id"))


def newest_deliveries(supplier: Supplier) -> list[Delivery]:
    """The last deliveries. One query."""
    return list(Delivery.objects.filter(supplier=supplier).order_by("-received_on", "-id")[:NEWEST])
