"""Customers as a table that goes in and out."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from decimal import Decimal
from typing import Any

from costing.models.quotes.customers import Customer
from costing.services.quotes.customers import LONGEST_TERMS_DAYS, CustomerDescription, save_customer
from inventory.services.exchange.columns import share, text_column, yes_no_column
from studio.foundation.roles import Capability
from studio.foundation.tables.columns import Column, Layout, Row
from studio.foundation.tables.kinds import Code, Text, Whole
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_taken, require

_NAMES = tuple(field.name for field in fields(CustomerDescription))

LAYOUT = Layout(
    (
        Column(
            name="code",
            kind=Code(),
            meaning="the code by which the customer is found",
            example="corner-shop",
            needed=True,
        ),
        Column(
            name="name",
            kind=Text(120),
            meaning="the customer's name",
            example="The Corner Shop",
            needed=True,
            empty="",
        ),
        Column(
            name="tier",
            kind=Code(),
            meaning="the step of the price ladder that they buy at, by its code",
            example="wholesale",
            needed=True,
        ),
        text_column("contact", 120, "whom letters are addressed to", "Alex Example"),
        text_column("email", 254, "where quotes are mailed to", "buyer@example.org"),
        text_column("phone", 40, "telephone"),
        text_column("address", 400, "as it stands on letters; several lines in one cell"),
        Column(
            name="discount",
            kind=share("a share of 1"),
            meaning="off the tier's prices; empty: none",
            example="5 %",
            empty=Decimal(0),
            cost=True,
        ),
        Column(
            name="terms_days",
            kind=Whole(0, LONGEST_TERMS_DAYS, "in days"),
            meaning="until an invoice is due; empty: 30",
            example="14",
            empty=30,
        ),
        text_column("terms", 400, "terms of payment in other words than by days"),
        yes_no_column("tax_exempt", "whether no tax is charged", empty=False, example="no"),
        yes_no_column("active", "whether still sold to", empty=True, example="yes"),
        text_column("note", 2000, "anything else"),
    )
)


def take_customer(rows: Sequence[Row], taking: Taking) -> Outcome:
    """Keep one customer as its row says."""
    (row,) = rows
    kept = Customer.objects.select_related("tier").filter(code=row.values["code"]).first()
    if kept is not None:
        refuse_taken(kept.code, taking)
    require(row, LAYOUT, taking, new=kept is None)
    if kept is None:
        save_customer(CustomerDescription(**row.values), by=taking.by)
        return Outcome.CREATED
    was = CustomerDescription(**_values(kept))
    described = replace(was, **row.values)
    if described == was:
        return Outcome.UNCHANGED
    save_customer(described, customer_id=kept.pk, by=taking.by)
    return Outcome.CHANGED


def customer_rows() -> Iterator[Mapping[str, Any]]:
    """All customers. One query."""
    for customer in Customer.objects.select_related("tier").order_by("code"):
        yield _values(customer)


def _values(customer: Customer) -> dict[str, Any]:
    return {name: getattr(customer, name) for name in _NAMES} | {"tier": customer.tier.code}


CUSTOMERS = ExchangeTable(
    name="customers",
    title="Customers",
    layout=LAYOUT,
    needed=Capability.PRICE,
    rows=customer_rows,
    take=take_customer,
)
