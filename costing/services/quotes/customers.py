"""Customers: who buys, on which tier and terms."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from typing import Any

from django.db import transaction

from costing.errors import CustomerRefusal
from costing.models.prices.prices import Tier
from costing.models.quotes.quotes import Customer
from costing.services.rows import keep_row, row_to_change
from inventory.services.exchange.columns import share, text_column, yes_no_column
from studio.foundation.doers import By
from studio.foundation.errors import Faults
from studio.foundation.roles import Capability
from studio.foundation.tables.columns import Column, Layout, Row
from studio.foundation.tables.kinds import Code, Text, Whole
from studio.models import Unchanged
from studio.work.cleaning import take_clashes, take_field_faults
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_taken, require

LONGEST_TERMS_DAYS = 365
_TEXTS = ("code", "name", "contact", "email", "phone", "address", "terms", "note")
_FIELDS = (*_TEXTS, "discount", "terms_days", "tax_exempt", "active")
LAYOUT = Layout(
    (
        Column(
            "code", Code(), "the code by which the customer is found", "corner-shop", needed=True
        ),
        Column("name", Text(120), "the customer's name", "The Corner Shop", needed=True, empty=""),
        Column(
            "tier",
            Code(),
            "the step of the price ladder that they buy at, by its code",
            "wholesale",
            needed=True,
        ),
        text_column("contact", 120, "whom letters are addressed to", "Alex Example"),
        text_column("email", 254, "where quotes are mailed to", "buyer@example.org"),
        text_column("phone", 40, "telephone"),
        text_column("address", 400, "as it stands on letters; several lines in one cell"),
        Column(
            "discount",
            share("a share of 1"),
            "off the tier's prices; empty: none",
            "5 %",
            empty=Decimal(0),
            cost=True,
        ),
        Column(
            "terms_days",
            Whole(0, LONGEST_TERMS_DAYS, "in days"),
            "until an invoice is due; empty: 30",
            "14",
            empty=30,
        ),
        text_column("terms", 400, "terms of payment in other words than by days"),
        yes_no_column("tax_exempt", "whether no tax is charged", empty=False, example="no"),
        yes_no_column("active", "whether still sold to", empty=True, example="yes"),
        text_column("note", 2000, "anything else"),
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CustomerDescription:
    """All that is kept of a customer; `tier` is the code of theirs, `discount` a share of 1.

    `terms_days` are the days until an invoice is due; `terms` are words of their own in its place.
    """

    code: str
    name: str
    contact: str = ""
    email: str = ""
    phone: str = ""
    address: str = ""
    tier: str
    discount: Decimal = Decimal(0)
    terms_days: int = 30
    terms: str = ""
    tax_exempt: bool = False
    active: bool = True
    note: str = ""


@transaction.atomic
def save_customer(
    described: CustomerDescription,
    *,
    row_id: int | None = None,
    unchanged: Unchanged | None = None,
    by: By = None,
) -> Customer:
    """Keep a customer as described: a new one, or in place of what `row_id` was.

    Quotes that were sent stay as they are. Raises CustomerRefusal with every fault; then nothing
    changes. Raises NotFound for an unknown id.
    """
    customer = row_to_change(Customer, row_id, unchanged)
    for name in _FIELDS:
        setattr(customer, name, getattr(described, name))
    faults = Faults()
    tier = Tier.objects.filter(code=described.tier).first()
    if tier is None:
        faults.add("not-found", f"There is no tier {described.tier} in the price ladder.", "tier")
    else:
        customer.tier = tier
    if not 0 <= described.discount < 1:
        faults.add("out-of-range", "A discount is at least 0 and less than all.", "discount")
    if not 0 <= described.terms_days <= LONGEST_TERMS_DAYS:
        faults.add("out-of-range", f"From 0 to {LONGEST_TERMS_DAYS} days.", "terms_days")
    take_field_faults(faults, customer, only=_TEXTS)
    if not faults:
        take_clashes(faults, customer, only=("code",))
    faults.raise_if_any(CustomerRefusal)
    return keep_row(customer, by=by)


_NAMES = tuple(field.name for field in fields(CustomerDescription))


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
    save_customer(described, row_id=kept.pk, by=taking.by)
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
