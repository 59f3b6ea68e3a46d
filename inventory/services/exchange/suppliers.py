"""Suppliers as a table that goes in and out."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from inventory.models.catalog.suppliers import Supplier
from inventory.services.catalog.suppliers import save_supplier
from studio.foundation.model_fields import described
from studio.foundation.roles import Capability
from studio.foundation.tables.columns import Layout, Row
from studio.work.exchange.described import columns_of, rows_of, take_row
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking

LAYOUT = Layout(columns_of(Supplier, described(Supplier)))


def take_supplier(rows: Sequence[Row], taking: Taking) -> Outcome:
    """Keep one supplier as its row says."""
    return take_row(Supplier, LAYOUT, rows, taking, save=save_supplier)


def supplier_rows() -> Iterator[Mapping[str, Any]]:
    """All suppliers. One query."""
    return rows_of(Supplier, LAYOUT)


SUPPLIERS = ExchangeTable(
    name="suppliers",
    title="Suppliers",
    layout=LAYOUT,
    needed=Capability.KEEP_STOCK,
    rows=supplier_rows,
    take=take_supplier,
)
