"""Shipments by what customers know them by."""

from inventory.models import Shipment


def find_shipment(*, customer: str, reference: str) -> Shipment | None:
    """The newest shipment to a customer under an order of theirs. One query."""
    return (
        Shipment.objects.filter(customer_name=customer, reference=reference).order_by("-id").first()
    )
