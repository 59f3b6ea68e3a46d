"""How those are reached to whom the shipments of orders left."""

from collections.abc import Collection, Mapping

from costing.models.orders.sales import SalesShipment
from inventory.queries.shipping.contacts import CONTACTS, Contact, ContactBook


def register_contacts() -> None:
    """Make known how the customers of orders are reached."""
    CONTACTS.register(ContactBook("customers", contacts_of_orders))


def contacts_of_orders(shipments: Collection[str]) -> Mapping[str, Contact]:
    """By the codes of shipments, as the customers of their orders stand now. One query."""
    sales = SalesShipment.objects.filter(shipment__code__in=shipments)
    rows = sales.values_list(
        "shipment__code",
        *(f"order__customer__{name}" for name in ("code", "contact", "phone", "email", "address")),
    )
    return {
        shipment: Contact(customer=code, person=person, phone=phone, email=email, address=address)
        for shipment, code, person, phone, email, address in rows
    }
