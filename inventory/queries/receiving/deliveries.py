"""Deliveries by what stands on their invoices."""

from inventory.models.receiving.deliveries import Delivery


def find_delivery(*, supplier: str, invoice: str) -> Delivery | None:
    """The newest delivery of a supplier under an invoice number, lots included. Four queries."""
    return (
        Delivery.objects.select_related("supplier")
        .prefetch_related("lines__material", "lines__lot", "lines__offer")
        .filter(supplier__code=supplier, invoice=invoice)
        .order_by("-id")
        .first()
    )
