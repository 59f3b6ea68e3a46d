"""Customers: who buys, on which tier and terms."""

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction

from costing.errors import CustomerRefusal
from costing.models.prices.prices import Tier
from costing.models.quotes.customers import Customer
from studio.foundation.errors import Faults
from studio.models import Unchanged, lock_kept
from studio.work.cleaning import take_clashes, take_field_faults

if TYPE_CHECKING:
    from django.contrib.auth.models import User

LONGEST_TERMS_DAYS = 365
_TEXTS = ("code", "name", "contact", "email", "phone", "address", "terms", "note")
_FIELDS = (*_TEXTS, "discount", "terms_days", "tax_exempt", "active")


@dataclass(frozen=True, slots=True, kw_only=True)
class CustomerDescription:
    """All that is kept of a customer; `tier` is the code of theirs, `discount` a share of 1.

    `terms_days` are the days until an invoice is due; `terms` are words of their own in its place.
    """

    code: str
    name: str
    tier: str
    contact: str = ""
    email: str = ""
    phone: str = ""
    address: str = ""
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
    customer_id: int | None = None,
    unchanged: Unchanged | None = None,
    by: "User | None" = None,
) -> Customer:
    """Keep a customer as described: a new one, or in place of what `customer_id` was.

    Quotes that were sent stay as they are. Raises CustomerRefusal with every fault; then nothing
    changes. Raises NotFound for an unknown id.
    """
    customer = Customer() if customer_id is None else lock_kept(Customer, customer_id, unchanged)
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
    customer.revision += 0 if customer_id is None else 1
    customer._history_user = by  # type: ignore[attr-defined]
    customer.save()
    return customer
