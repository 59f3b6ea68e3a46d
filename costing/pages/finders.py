"""Search finds quotes, orders and customers by code or name; a scanned pick list leads here."""

from typing import Any

from costing.models.orders.sales import SalesOrder
from costing.models.quotes.quotes import Customer, Quote
from studio.foundation.roles import Capability
from studio.web.pages.search import FINDERS, Rows

LOOK = (Capability.READ, Capability.SEE_COSTS)


def _state(row: Any) -> str:
    return str(row.get_state_display().lower())


ORDERS = Rows(
    of=SalesOrder.objects.select_related("customer"),
    page="order-page",
    columns=("code", "customer__name", "reference"),
    called="customer.name",
    order_by=("-id",),
    note=_state,
)
QUOTES = Rows(
    of=Quote.objects.select_related("customer").defer("paper"),
    page="quote-page",
    columns=("code", "customer__name"),
    called="customer.name",
    order_by=("-id",),
    note=_state,
)
CUSTOMERS = Rows(of=Customer.objects.all(), page="customer-page")


def register_finders() -> None:
    """Orders and customers for everyone, quotes for those who may see prices."""
    FINDERS.register(ORDERS.finder("orders", order=50))
    FINDERS.register(QUOTES.finder("quotes", rule=LOOK, order=52))
    FINDERS.register(CUSTOMERS.finder("customers", order=54))
