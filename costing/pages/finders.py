"""Search finds quotes, orders and customers by code or name; a scanned pick list leads here."""

from django.db.models import Q
from django.db.models.base import Model

from costing.models.orders.sales import SalesOrder
from costing.models.quotes.customers import Customer
from costing.models.quotes.quotes import Quote
from studio.foundation.roles import Capability
from studio.web.pages.places import page_address
from studio.web.pages.search import FINDERS, Finder, Found

LOOK = (Capability.READ, Capability.SEE_COSTS)


def register_finders() -> None:
    """Orders and customers for everyone, quotes for those who may see prices."""
    FINDERS.register(Finder("orders", "Orders", find=find_orders, by_code=order_address, order=50))
    FINDERS.register(
        Finder("quotes", "Quotes", find=find_quotes, by_code=quote_address, rule=LOOK, order=52)
    )
    FINDERS.register(
        Finder("customers", "Customers", find=find_customers, by_code=customer_address, order=54)
    )


def find_orders(text: str, limit: int) -> list[Found]:
    """Orders whose code, customer or the customer's number holds the text. One query."""
    rows = SalesOrder.objects.select_related("customer").filter(
        Q(code__icontains=text) | Q(customer__name__icontains=text) | Q(reference__icontains=text)
    )
    return [
        Found(
            row.customer.name,
            row.code,
            row.get_state_display().lower(),
            page_address("order-page", row.code),
        )
        for row in rows.order_by("-id")[:limit]
    ]


def find_quotes(text: str, limit: int) -> list[Found]:
    """Quotes whose code or customer holds the text. One query."""
    rows = Quote.objects.select_related("customer").defer("paper")
    rows = rows.filter(Q(code__icontains=text) | Q(customer__name__icontains=text))
    return [
        Found(
            row.customer.name,
            row.code,
            row.get_state_display().lower(),
            page_address("quote-page", row.code),
        )
        for row in rows.order_by("-id")[:limit]
    ]


def find_customers(text: str, limit: int) -> list[Found]:
    """Customers whose name or code holds the text. One query."""
    rows = Customer.objects.filter(Q(name__icontains=text) | Q(code__icontains=text))
    return [
        Found(row.name, row.code, "", page_address("customer-page", row.code))
        for row in rows.order_by("name", "id")[:limit]
    ]


def order_address(code: str) -> str:
    """The page of the order with exactly this code, or "". One query."""
    return _address(SalesOrder, "order-page", code)


def quote_address(code: str) -> str:
    """The page of the quote with exactly this code, or "". One query."""
    return _address(Quote, "quote-page", code)


def customer_address(code: str) -> str:
    """The page of the customer with exactly this code, or "". One query."""
    return _address(Customer, "customer-page", code)


def _address(model: type[Model], page: str, code: str) -> str:
    rows = model._default_manager.filter(code__iexact=code)
    found = rows.values_list("code", flat=True).first()
    return page_address(page, found) if found else ""
