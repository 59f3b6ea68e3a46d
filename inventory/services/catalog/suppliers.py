"""Suppliers, and their offers: a pack in their own unit, its price, what it holds in ours."""

from typing import TYPE_CHECKING

from django.db import transaction

from inventory.errors import MaterialRefusal
from inventory.models.catalog.suppliers import Supplier
from inventory.services.events import buying_cost_changed
from studio.work.keeping import Expected, Names, faults_of, keep, locked

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def save_supplier(
    given: Supplier,
    names: Names = None,
    *,
    by: "User | None" = None,
    expected: Expected = None,
) -> Supplier:
    """Keep a supplier, a new one whole, of another the values with these names.

    Raises MaterialRefusal with every fault, and ChangedMeanwhile; then nothing changes.
    """
    supplier, was = locked(given, names, expected)
    faults_of(supplier, names).raise_if_any(MaterialRefusal)
    keep(supplier, names, by=by)
    if was is not None:  # its freight, and whether it is bought from
        offered = supplier.offers.values_list("material", flat=True)
        buying_cost_changed.send(Supplier, materials=frozenset(offered))
    return supplier


def add_supplier(**values: object) -> Supplier:
    """A new supplier from its columns' values. Raises MaterialRefusal with every fault."""
    return save_supplier(Supplier(**values))
