"""What customers send back: counter-entries in the ledger, and a credit line for each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import F, Sum
from django.utils import timezone

from costing.domain.orders.sales import Billed, bill_between
from costing.errors import OrderRefusal
from costing.models.orders.sales import (
    SalesCredit,
    SalesOrder,
    SalesOrderLine,
    SalesShipment,
    SalesShipmentLine,
    SalesShipmentLot,
)
from costing.queries.prices.prices import coin
from costing.services.orders.rows import counted, lock_order, note
from inventory.services.shipping.returns import Returning, return_shipment
from studio.foundation.doers import By
from studio.foundation.errors import NotFound
from studio.foundation.money import split

if TYPE_CHECKING:
    from inventory.models.shipping.shipments import Shipment, ShipmentReturn


@dataclass(frozen=True, slots=True, kw_only=True)
class SentBack:
    """What came back of a line of one of the order's shipments.

    `lots` says out of which lots (code -> bars), where somebody read their codes.
    """

    shipment: str
    line: int
    bars: int
    reason: str
    returned_on: date | None = None
    lots: Mapping[str, int] | None = None


@dataclass(slots=True)
class _Out:
    """What one lot gave to a shipped line, and how much of it is still with the customer."""

    row: SalesShipmentLot
    bars: int


@transaction.atomic
def return_bars(code: str, sent: SentBack, *, by: By = None) -> SalesOrder:
    """Take back bars of an order: into their lots with the cost that had left, and as a credit.

    A closed order takes returns too; they are not shipped again. Raises NotFound, OrderRefusal for
    more than is out, ShipmentRefusal for a day or a reason that cannot be.
    """
    order = lock_order(code, is_open=False)
    sale = order.shipments.filter(shipment__code=sent.shipment).first()
    if sale is None:
        raise NotFound(f"Order {code} has no shipment {sent.shipment}.", field="shipment")
    out = [each for each in _outstanding(sale) if each.row.line.line.position == sent.line]
    if not out:
        raise NotFound(f"Nothing of line {sent.line} left with {sent.shipment}.", field="line")
    returning = Returning(
        returned_on=sent.returned_on or timezone.localdate(),
        reason=sent.reason,
        lots=_by_lot(out, sent),
        mark=str(sent.line),
    )
    return_shipment(sent.shipment, returning, by=by)
    return order


def book_credits(
    *,
    shipment: "Shipment",
    returns: "Sequence[ShipmentReturn]",
    mark: str,
    by: By = None,
    **_: Any,
) -> None:
    """Receiver of `inventory.services.shipping.returns.bars_returned`: what came back is credited.

    Also where it was booked on the shipment itself: then lines of the order share a lot in their
    order. The shipment is locked, so no other return of it is under way.
    """
    sale = SalesShipment.objects.filter(shipment=shipment.pk).select_related("order").first()
    if sale is None:
        return
    out = _outstanding(sale)
    out.sort(key=lambda each: str(each.row.line.line.position) != mark)
    credited: dict[str, int] = {}
    for back in returns:
        parts = _dealt(back, out)
        costs = split(back.cost, [bars for _, bars in parts])
        for (each, bars), cost in zip(parts, costs, strict=True):
            _credit(each.row.line, back, bars, cost, by)
            each.bars -= bars
            product = each.row.line.line.product.code
            credited[product] = credited.get(product, 0) + bars
    note(sale.order, "returned", f"{shipment.code}: {counted(credited)} came back.", by=by)


def _outstanding(sale: SalesShipment) -> list[_Out]:
    """The lots behind a sale's lines with what is still out of each. Two queries."""
    back: Mapping[tuple[int, int], int] = {
        (row["line"], row["back__line"]): row["bars_back"]
        for row in SalesCredit.objects.filter(line__shipment=sale)
        .values("line", "back__line")
        .annotate(bars_back=Sum("bars"))
        .order_by()
    }
    rows = (
        SalesShipmentLot.objects.filter(line__shipment=sale)
        .select_related("line__line__product", "shipped__lot")
        .order_by("line__line__position", "id")
    )
    return [_Out(row, row.bars - back.get((row.line_id, row.shipped_id), 0)) for row in rows]


def _by_lot(out: Sequence[_Out], sent: SentBack) -> dict[str, int]:
    """Which lots take the bars back: those that were read, else in the order they left."""
    there = {each.row.shipped.lot.code: each.bars for each in out}
    if not 0 < sent.bars <= sum(there.values()):
        raise OrderRefusal(
            f"{sum(there.values())} of line {sent.line} are still out with {sent.shipment}.",
            field="bars",
            details={"out": sum(there.values())},
        )
    if sent.lots is not None:
        if sum(sent.lots.values()) != sent.bars:
            raise OrderRefusal("The lots must add up to the bars.", field="lots")
        for lot, bars in sent.lots.items():
            if not 0 < bars <= there.get(lot, 0):
                raise OrderRefusal(
                    f"{there.get(lot, 0)} of lot {lot} are still out in that line.", field="lots"
                )
        return dict(sent.lots)
    lots, left = {}, sent.bars
    for lot, bars in there.items():
        part = min(left, bars)
        if part:
            lots[lot] = part
            left -= part
    return lots


def _dealt(back: "ShipmentReturn", out: Sequence[_Out]) -> list[tuple[_Out, int]]:
    parts, left = [], back.amount
    for each in out:
        part = min(left, each.bars) if each.row.shipped_id == back.line_id else 0
        if part:
            parts.append((each, part))
            left -= part
    return parts


def _credit(line: SalesShipmentLine, back: "ShipmentReturn", bars: int, cost: int, by: By) -> None:
    """The part of the line's revenue and tax for the bars that came back; the last take all."""
    before = SalesCredit.objects.filter(line=line).aggregate(bars=Sum("bars", default=0))["bars"]
    bill = bill_between(
        Billed(net=line.revenue, tax=line.tax),
        before,
        before + bars,
        of=line.bars,
        unit=coin(),
    )
    SalesCredit.objects.create(
        line=line, back=back, bars=bars, revenue=bill.net, tax=bill.tax, cost=cost, by=by
    )
    SalesOrderLine.objects.filter(pk=line.line_id).update(returned=F("returned") + bars)
