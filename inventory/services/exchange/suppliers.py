"""Suppliers as a table that goes in and out."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

from django.conf import settings

from inventory.models.catalog.suppliers import Supplier
from inventory.services.catalog.suppliers import (
    LONGEST_LEAD_TIME_DAYS,
    SupplierDescription,
    save_supplier,
)
from inventory.services.exchange.columns import text_column, yes_no_column
from studio.foundation.roles import Capability
from studio.foundation.tables.columns import Column, Layout, Row
from studio.foundation.tables.kinds import Code, Money, Text, Whole
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_taken, require

MONEY = Money(settings.STUDIO_CURRENCY)
_NAMES = tuple(field.name for field in fields(SupplierDescription))


def _money(name: str, meaning: str, *, empty: int | None, example: str = "") -> Column:
    return Column(name=name, kind=MONEY, meaning=meaning, empty=empty, example=example, cost=True)


LAYOUT = Layout(
    (
        Column(
            name="code",
            kind=Code(),
            meaning="the code by which the supplier is found",
            example="mill-lane",
            needed=True,
        ),
        Column(
            name="name",
            kind=Text(120),
            meaning="the supplier's name",
            example="Mill Lane Oils",
            needed=True,
            empty="",
        ),
        text_column("email", 254, "where orders are mailed to", "orders@example.org"),
        text_column("phone", 40, "telephone"),
        Column(
            name="lead_time_days",
            kind=Whole(0, LONGEST_LEAD_TIME_DAYS, "in days"),
            meaning="from order to delivery; empty: 7",
            example="10",
            empty=7,
        ),
        _money("minimum_order", "the least an order must be worth", empty=0, example="50"),
        _money("freight", "freight of each order", empty=0, example="12.5"),
        _money("free_freight_from", "goods worth this much come free of freight", empty=None),
        _money(
            "order_handling",
            "the studio's own cost of an order; empty: as for any order",
            empty=None,
        ),
        yes_no_column("active", "whether still bought from", empty=True, example="yes"),
        text_column("note", 2000, "anything else"),
    )
)


def take_supplier(rows: Sequence[Row], taking: Taking) -> Outcome:
    """Keep one supplier as its row says."""
    (row,) = rows
    kept = Supplier.objects.filter(code=row.values["code"]).first()
    if kept is not None:
        refuse_taken(kept.code, taking)
    require(row, LAYOUT, taking, new=kept is None)
    if kept is None:
        save_supplier(SupplierDescription(**row.values), by=taking.by)
        return Outcome.CREATED
    was = _described(kept)
    described = replace(was, **row.values)
    if described == was:
        return Outcome.UNCHANGED
    save_supplier(described, supplier_id=kept.pk, by=taking.by)
    return Outcome.CHANGED


def supplier_rows() -> Iterator[Mapping[str, Any]]:
    """All suppliers. One query."""
    for supplier in Supplier.objects.order_by("code"):
        yield {name: getattr(supplier, name) for name in _NAMES}


def _described(supplier: Supplier) -> SupplierDescription:
    return SupplierDescription(**{name: getattr(supplier, name) for name in _NAMES})


SUPPLIERS = ExchangeTable(
    name="suppliers",
    title="Suppliers",
    layout=LAYOUT,
    needed=Capability.KEEP_STOCK,
    rows=supplier_rows,
    take=take_supplier,
)
