"""A supplier with what is offered, what is on order and what came."""

from inventory.models.buying.orders import PurchaseOrder
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.models.receiving.deliveries import Delivery
from studio.foundation.errors import NotFound

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
