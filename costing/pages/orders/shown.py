"""An order in the words of a page: what left, what is held, what is being made, what is missing."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from costing.models.orders.sales import SalesOrder, SalesOrderBatch, SalesOrderLine, SalesOrderState
from costing.queries.orders.sales import held_of

UNDER_WAY = ("planned", "reserved", "poured", "cut")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLine:
    """A line of an order; `missing` are bars that nothing holds and no batch makes."""

    line: SalesOrderLine
    held: int
    batches: tuple[SalesOrderBatch, ...]
    making: int
    missing: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Out:
    """Bars of a line that left with a shipment, and how many of them came back."""

    shipment: str
    position: int
    product: str
    bars: int
    back: int

    @property
    def name(self) -> str:
        """How the form of a return calls it."""
        return f"{self.shipment}:{self.position}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownOrder:
    """An order with its lines as they are shown."""

    order: SalesOrder
    lines: tuple[ShownLine, ...]
    out: tuple[Out, ...]
    today: date

    @property
    def is_open(self) -> bool:
        """Whether something of it is still to leave."""
        return self.order.state == SalesOrderState.OPEN

    @property
    def is_late(self) -> bool:
        """Whether it should have left."""
        return self.is_open and self.order.due_on < self.today

    @property
    def bars(self) -> int:
        """All bars that were ordered."""
        return sum(row.line.quantity for row in self.lines)

    @property
    def shipped(self) -> int:
        """Bars that left."""
        return sum(row.line.shipped for row in self.lines)

    @property
    def to_ship(self) -> int:
        """Bars that have not left."""
        return self.bars - self.shipped

    @property
    def held(self) -> int:
        """Bars that it holds."""
        return sum(row.held for row in self.lines)

    @property
    def making(self) -> int:
        """Bars that batches make for it."""
        return sum(row.making for row in self.lines)

    @property
    def missing(self) -> int:
        """Bars that nothing holds and no batch makes."""
        return sum(row.missing for row in self.lines)

    @property
    def returnable(self) -> list[tuple[str, str]]:
        """Choices of a return: what is still with the customer."""
        return [
            (out.name, f"{out.shipment}: {out.product}, {out.bars - out.back} bars")
            for out in self.out
            if out.bars > out.back
        ]


def show_order(order: SalesOrder, *, today: date) -> ShownOrder:
    """An order of `costing.queries.orders.sales.find_order` as its page shows it. No query."""
    is_open = order.state == SalesOrderState.OPEN
    return ShownOrder(
        order=order,
        lines=tuple(_line(row, is_open=is_open) for row in order.lines.all()),
        out=tuple(
            _out(sale.shipment.code, row)
            for sale in order.shipments.all()
            for row in sale.lines.all()
        ),
        today=today,
    )


def _line(line: SalesOrderLine, *, is_open: bool) -> ShownLine:
    held = held_of(line)
    batches = tuple(row for row in line.batches.all() if row.batch.state in UNDER_WAY)
    open_bars = line.quantity - line.shipped - held if is_open else 0
    making = min(sum(row.bars for row in batches), open_bars)
    return ShownLine(
        line=line, held=held, batches=batches, making=making, missing=open_bars - making
    )


def _out(shipment: str, row: Any) -> Out:
    return Out(
        shipment=shipment,
        position=row.line.position,
        product=row.line.product.name,
        bars=row.bars,
        back=sum(credit.bars for credit in row.credits.all()),
    )
