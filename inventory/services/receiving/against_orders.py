"""Receiving against a purchase order, line by line: by position or by a scanned code."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from django.db import transaction

from inventory.domain.receiving.landed_cost import Charge
from inventory.errors import MaterialRefusal
from inventory.models.buying.orders import PurchaseOrder, PurchaseOrderLine
from inventory.models.receiving.deliveries import Delivery
from inventory.models.stock.lots import Lot
from inventory.queries.stock.on_order import find_order
from inventory.services.receiving.deliveries import faults_of_delivery, receive_delivery
from inventory.services.receiving.received import OrderLineAt, Received, ReceivedLine
from studio.foundation.doers import By
from studio.foundation.errors import Fault, Faults, StateConflict


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrived:
    """Packs that came of one line, named by its `position` or by a `scan`.

    A scan is the code of the offer, the supplier's own item number, the material's code, or the
    code of an earlier lot of the material. `price` is what the invoice asks for these packs
    (ten-thousandths); None takes what was agreed. `written` is what one pack really held.
    """

    position: int | None = None
    scan: str = ""
    packs: int = 1
    price: int | None = None
    written: str = ""
    best_before: date | None = None
    supplier_lot: str = ""
    lot_code: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderArrival:
    """What came of an order in one delivery, and what the invoice adds or takes."""

    received_on: date
    lines: Sequence[Arrived]
    charges: Sequence[Charge] = ()
    invoice: str = ""
    note: str = ""
    confirmed: frozenset[str] = frozenset()


@transaction.atomic
def receive_order(code: str, arrival: OrderArrival, *, by: By = None) -> Delivery:
    """Take in what came of an order: a delivery whose lines are booked against the order's.

    More or less than ordered may come, at another price: the order's lines show it. Raises
    NotFound; StateConflict for a draft or a cancelled order; MaterialRefusal with every fault.
    """
    faults, received = _judged(code, arrival)
    if faults:
        faults = [*faults, *_of_delivery(received, arrival)]
        raise MaterialRefusal(faults=faults)
    return receive_delivery(received, by=by)


@transaction.atomic
def faults_of_arrival(code: str, arrival: OrderArrival) -> tuple[Fault, ...]:
    """All that `receive_order` would refuse it for. Writes nothing.

    Raises NotFound, StateConflict.
    """
    faults, received = _judged(code, arrival)
    return (*faults, *_of_delivery(received, arrival))


def _judged(code: str, arrival: OrderArrival) -> tuple[Sequence[Fault], Received]:
    order = find_order(code)
    if order.state in (PurchaseOrder.State.DRAFT, PurchaseOrder.State.CANCELLED):
        raise StateConflict(f"Order {code} is {order.state}; nothing comes of it.")
    faults = Faults()
    if not arrival.lines:
        faults.add("no-lines", "Say what has come.", "lines")
    lines = list(order.lines.all())
    scanned = _materials_of_lots({line.scan for line in arrival.lines if line.scan})
    found = [
        _line_of(faults, line, lines, scanned, under=f"lines.{index}")
        for index, line in enumerate(arrival.lines)
    ]
    received = Received(
        supplier=order.supplier.code,
        received_on=arrival.received_on,
        invoice=arrival.invoice,
        note=arrival.note,
        charges=arrival.charges,
        confirmed=arrival.confirmed,
        lines=[
            _received(order, line, ordered)
            for line, ordered in zip(arrival.lines, found, strict=True)
        ],
    )
    return faults.found, received


def _of_delivery(received: Received, arrival: OrderArrival) -> list[Fault]:
    """What is wrong with the delivery beside the lines that name nothing of the order."""
    unnamed = {
        f"lines.{index}.material"
        for index, line in enumerate(received.lines)
        if line.order_line is None
    }
    told = faults_of_delivery(received)
    return [
        fault
        for fault in told
        if fault.field not in unnamed and (arrival.lines or fault.field != "lines")
    ]


def _materials_of_lots(codes: set[str]) -> dict[str, int]:
    return dict(Lot.objects.filter(code__in=codes).values_list("code", "material_id"))


def _line_of(
    faults: Faults,
    came: Arrived,
    lines: Sequence[PurchaseOrderLine],
    lots: dict[str, int],
    *,
    under: str,
) -> PurchaseOrderLine | None:
    """The order's line that is meant, or None with the reason in `faults`."""
    if (came.position is None) == (not came.scan):
        faults.add("name-one", "Give the line's position or a scanned code, one of them.", under)
        return None
    if came.position is not None:
        found = [line for line in lines if line.position == came.position]
        path, named = f"{under}.position", f"line {came.position}"
    else:
        found = _scanned(came.scan, lines, lots)
        path, named = f"{under}.scan", f"line for {came.scan}"
    if not found:
        faults.add("not-found", f"The order has no {named}.", path)
    elif len(found) > 1:
        positions = ", ".join(str(line.position) for line in found)
        faults.add("ambiguous", f"Several lines may be meant ({positions}): give one.", path)
    return found[0] if len(found) == 1 else None


def _scanned(
    scan: str, lines: Sequence[PurchaseOrderLine], lots: dict[str, int]
) -> list[PurchaseOrderLine]:
    """The lines that a code stands for; the most particular meaning counts."""
    by_offer = [line for line in lines if scan in (line.offer.code, line.offer.supplier_item)]
    return by_offer or [
        line for line in lines if scan == line.material.code or lots.get(scan) == line.material_id
    ]


def _received(order: PurchaseOrder, came: Arrived, line: PurchaseOrderLine | None) -> ReceivedLine:
    """What came as a line of a delivery; of no material where it names none of the order."""
    if line is None:
        return ReceivedLine(
            packs=came.packs, price=came.price or 0, lot_code=came.lot_code, written=came.written
        )
    agreed = round(Fraction(line.price * came.packs, line.packs))
    return ReceivedLine(
        offer=line.offer.code,
        packs=came.packs,
        price=agreed if came.price is None else came.price,
        written=came.written,
        best_before=came.best_before,
        supplier_lot=came.supplier_lot,
        lot_code=came.lot_code,
        order_line=OrderLineAt(order=order.code, position=line.position),
    )
