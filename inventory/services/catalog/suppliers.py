"""Suppliers: whom the studio buys from."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction

from inventory.errors import MaterialRefusal
from inventory.models.catalog.suppliers import Supplier
from studio.work.cleaning import take_clashes, take_field_faults
from inventory.services.events import buying_cost_changed
from studio.foundation.errors import Faults
from studio.foundation.money import MAX_MONEY
from studio.models import Unchanged, lock_kept

if TYPE_CHECKING:
    from django.contrib.auth.models import User

LONGEST_LEAD_TIME_DAYS = 730
_MONEY = ("minimum_order", "freight", "free_freight_from", "order_handling")
_FIELDS = ("code", "name", "email", "phone", "note", "lead_time_days", "active", *_MONEY)


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplierDescription:
    """All that is kept of a supplier; money in ten-thousandths.

    Each order costs `freight` unless its goods are worth `free_freight_from`, and `order_handling`
    in the studio's own time (None: what the studio reckons for any order).
    """

    code: str
    name: str
    email: str = ""
    phone: str = ""
    lead_time_days: int = 7
    minimum_order: int = 0
    freight: int = 0
    free_freight_from: int | None = None
    order_handling: int | None = None
    active: bool = True
    note: str = ""


@transaction.atomic
def save_supplier(
    described: SupplierDescription,
    *,
    supplier_id: int | None = None,
    unchanged: Unchanged | None = None,
    keep: Collection[str] = (),
    by: "User | None" = None,
) -> Supplier:
    """Keep a supplier as described: a new one, or in place of what `supplier_id` was.

    The values named in `keep` stay: who may not see them leaves them. Raises MaterialRefusal with
    every fault; then nothing changes.
    """
    supplier = Supplier() if supplier_id is None else lock_kept(Supplier, supplier_id, unchanged)
    for name in _FIELDS:
        if name not in keep:
            setattr(supplier, name, getattr(described, name))
    faults = Faults()
    check_lead_time(faults, described.lead_time_days)
    for name in _MONEY:
        if not 0 <= (getattr(supplier, name) or 0) <= MAX_MONEY:
            faults.add("out-of-range", "Money is not below zero here, nor too large.", name)
    take_field_faults(faults, supplier, only=("code", "name", "email", "phone", "note"))
    if not faults:
        take_clashes(faults, supplier, only=("code",))
    faults.raise_if_any(MaterialRefusal)
    supplier.revision += 0 if supplier_id is None else 1
    supplier._history_user = by  # type: ignore[attr-defined]
    supplier.save()
    if supplier_id is not None:  # its freight, and whether it is bought from
        offered = supplier.offers.values_list("material", flat=True)
        buying_cost_changed.send(Supplier, materials=frozenset(offered))
    return supplier


def check_lead_time(faults: Faults, days: int | None) -> None:
    """Add a fault for a lead time, if there is one, that is not from 0 days to two years."""
    if days is not None and not 0 <= days <= LONGEST_LEAD_TIME_DAYS:
        faults.add(
            "out-of-range",
            f"A lead time is from 0 to {LONGEST_LEAD_TIME_DAYS} days.",
            "lead_time_days",
        )
