"""An order comes to be: its rows, the bars it holds at once, the batches that make the rest."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from costing.models.orders.sales import SalesOrder, SalesOrderLine
from costing.services.orders.batches import plan_for
from costing.services.orders.holds import hold_bars
from costing.services.orders.rows import lines_of, note, tell_shelf
from studio.work.numbering import next_code

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.contrib.auth.models import User


class Mode(StrEnum):
    """How bars are held when an order is opened."""

    ALL = "all"  # all of them, or the order is refused
    PARTS = "parts"  # stated bars of lines, or as many as are free; batches make the rest


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """What happens as an order is opened.

    `parts` are the bars to hold now, by position, for Mode.PARTS (None: as many as are free). With
    `plan` batches are planned for what is missing.
    """

    mode: Mode = Mode.ALL
    parts: Mapping[int, int] | None = None
    plan: bool = True


def open_order(
    order: SalesOrder, lines: "Sequence[SalesOrderLine]", start: Start, *, by: "User | None"
) -> SalesOrder:
    """Save an order with its lines, hold its bars and plan what is missing.

    In the turn of those who plan. Raises NotEnoughStock in mode "all", OrderRefusal for parts that
    cannot be, and what keeps a batch from being planned.
    """
    order.code = next_code("SO")
    order.by = by
    order.save()
    for position, line in enumerate(lines, 1):
        line.order = order
        line.position = line.position or position
    SalesOrderLine.objects.bulk_create(lines)
    told = f"From quote {order.quote.code}." if order.quote else ""
    note(order, "ordered", told, by=by)
    tell_shelf(order)
    open_lines = lines_of(order)
    parts = start.parts
    if start.mode is Mode.ALL:
        parts = {place: line.row.quantity for place, line in open_lines.items()}
    hold_bars(order, open_lines, parts, by=by)
    if start.plan:
        plan_for(order, by=by)
    return order
