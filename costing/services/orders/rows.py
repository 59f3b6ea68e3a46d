"""Orders' rows: locked, with what holds their bars, and told to the shelf."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from costing.errors import OrderClosed
from costing.models.orders.sales import (
    SalesOrder,
    SalesOrderEvent,
    SalesOrderHold,
    SalesOrderLine,
    SalesOrderState,
)
from inventory.services.buying.requirements import require, withdraw
from studio.foundation.doers import By
from studio.foundation.errors import NotFound

LONGEST_NOTE = 400


@dataclass(frozen=True, slots=True)
class OpenLine:
    """A line of a locked order with what is held for it, those that have cured longest first."""

    row: SalesOrderLine
    holds: Sequence[SalesOrderHold]

    @property
    def material(self) -> int:
        """The bars that it is about."""
        return int(self.row.product.formula.product_id)

    @property
    def held(self) -> int:
        """Bars that are held for it."""
        return sum(hold.remaining for hold in self.holds)

    @property
    def to_ship(self) -> int:
        """Bars that have not left."""
        return self.row.quantity - self.row.shipped

    @property
    def missing(self) -> int:
        """Bars that nothing holds yet."""
        return self.to_ship - self.held


def lock_order(code: str, *, is_open: bool = True) -> SalesOrder:
    """Lock an order, before its reservation and lots. One query. Raises NotFound, OrderClosed.

    The lock leaves room for rows that name the order, so that a return that already has its lots
    may write its credit meanwhile.
    """
    orders = SalesOrder.objects.select_for_update(of=("self",), no_key=True)
    try:
        order = orders.select_related("customer__tier").get(code=code)
    except SalesOrder.DoesNotExist:
        raise NotFound(f"There is no order {code}.", field="order") from None
    if is_open and order.state != SalesOrderState.OPEN:
        raise OrderClosed(f"Order {code} is {order.state}; nothing of it changes any more.")
    return order


def lines_of(order: SalesOrder) -> dict[int, OpenLine]:
    """The lines by position, with what is held for each. Two queries."""
    holds: dict[int, list[SalesOrderHold]] = defaultdict(list)
    rows = SalesOrderHold.objects.filter(
        line__order=order, reservation__state="open", remaining__gt=0
    )
    for hold in rows.select_related("lot__location").order_by("lot__received_on", "lot", "id"):
        holds[hold.line_id].append(hold)
    lines = order.lines.select_related("product__formula", "product__mold")
    return {
        line.position: OpenLine(line, tuple(holds[line.pk])) for line in lines.order_by("position")
    }


def tell_shelf(order: SalesOrder) -> None:
    """The shelf hears what the order still needs: all that has not left, by its due date.

    What its reservation holds counts against that, so nothing has to be told when it changes.
    Three queries.
    """
    if order.state != SalesOrderState.OPEN:
        withdraw(order.holder)
        return
    needs: dict[int, int] = defaultdict(int)
    for line in order.lines.select_related("product__formula"):
        needs[line.product.formula.product_id] += line.quantity - line.shipped
    require(needs, holder=order.holder, due_on=order.due_on)


def note(order: SalesOrder, what: str, words: str, *, by: By) -> None:
    """Write down what happened to an order. One query."""
    SalesOrderEvent.objects.create(order=order, what=what, note=words[:LONGEST_NOTE], by=by)


def counted(parts: Mapping[str, int]) -> str:
    """Bars by name as a note says them: "24 of lavender, 12 of plain"."""
    return ", ".join(f"{bars} of {name}" for name, bars in parts.items() if bars)


def position_of(lines: Mapping[int, OpenLine], position: int, field: str) -> OpenLine:
    """A line by its position. Raises NotFound."""
    if position not in lines:
        raise NotFound(f"The order has no line {position}.", field=field)
    return lines[position]


def by_product(lines: Iterable[tuple[OpenLine, int]]) -> dict[str, int]:
    """Bars by the code of the product."""
    bars: dict[str, int] = defaultdict(int)
    for line, amount in lines:
        bars[line.row.product.code] += amount
    return dict(bars)
