"""What suppliers offer on a day, and a supplier with offers, orders and what came."""

from collections.abc import Iterable
from datetime import date
from fractions import Fraction

from django.db.models import Q, QuerySet

from inventory.models.catalog.suppliers import Offer


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
