"""Customers by their codes."""

from costing.models.quotes.customers import Customer
from studio.foundation.errors import NotFound


def find_customer(code: str) -> Customer:
    """The customer with this code, with the tier. One query. Raises NotFound."""
    customer = Customer.objects.select_related("tier").filter(code=code).first()
    if customer is None:
        raise NotFound(f"There is no customer {code}.", field="customer")
    return customer
