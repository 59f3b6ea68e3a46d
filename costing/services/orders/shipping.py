"""Bars leave for an order: out of what it holds, in cartons, with what that brings and costs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from costing.domain.bar_cost.packing import Packing
from costing.domain.orders.sales import (
    Billed,
    OrderSums,
    Packed,
    bill_between,
    billed,
    carton_bounds,
    cartons_by_line,
    packing_by_line,
    spread_over,
)
from costing.errors import OrderNotHeld, OrderRefusal, PackagingShort
from costing.models.orders.sales import (
    SalesOrder,
    SalesOrderHold,
    SalesOrderState,
    SalesShipment,
    SalesShipmentLine,
    SalesShipmentLot,
)
from costing.queries.bar_cost.not_known import lots_not_known
from costing.queries.bar_cost.packaging import packings_of_day
from costing.queries.prices.prices import coin
from costing.queries.rates.rates import fees_of
from costing.services.orders.rows import (
    OpenLine,
    by_product,
    counted,
    lines_of,
    lock_order,
    note,
    position_of,
    tell_shelf,
)
from inventory.errors import NotEnoughStock
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from inventory.services.stock.consumption import Actual, consume_reservation
from inventory.services.stock.ledger import Origin
from inventory.services.stock.reservations import Holding, reserve
from studio.foundation.doers import By
from studio.foundation.errors import Faults
from studio.foundation.money import split

if TYPE_CHECKING:
    from inventory.models.shipping.shipments import Shipment

NOTE = "packing"
HINT = "Get it in, or ship with without_packaging: what is not booked costs nothing here."


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaving:
    """Bars of a line that leave, in so many of the shipment's cartons."""

    line: OpenLine
    bars: int
    cartons: int


def take_packaging(
    order: SalesOrder,
    leaving: Sequence[Leaving],
    packings: Mapping[int, Packing],
    *,
    on: date,
    by: By,
) -> list[int]:
    """Take what the lines' packaging sets need from stock; returns what it cost for each line.

    First expired first, all or nothing. An expense of the period (IAS 2 paragraph 16(d)), no part
    of what the bars cost. Raises PackagingShort naming what is short.
    """
    needs = [_needs(packings.get(_set_of(each)), each) for each in leaving]
    together: dict[int, int] = {}
    for need in needs:
        for material, pieces in need.items():
            together[material] = together.get(material, 0) + pieces
    if not together:
        return [0] * len(leaving)
    holding = Holding(needs=together, holder=f"{order.holder}:{NOTE}", on=on)
    try:
        held = reserve(holding, by=by)
    except NotEnoughStock as refusal:
        raise _short(refusal) from refusal
    origin = Origin(reference=order.holder, by=by, note=NOTE, on=on, day_field="shipped_on")
    actual = Actual(amounts=together)
    taken = consume_reservation(held.reservation.pk, actual, on=on, origin=origin)
    costs: dict[int, int] = {}
    for take in taken:
        costs[take.lot.material_id] = costs.get(take.lot.material_id, 0) + take.cost
    return packing_by_line(needs, costs)


def _set_of(leaving: Leaving) -> int:
    return leaving.line.row.product.packaging_set_id or 0


def _is_said(leaving: Leaving, packings: Mapping[int, Packing]) -> bool:
    """Whether somebody said what packs it, or that nothing does."""
    return leaving.line.row.product.needs_no_packing or _set_of(leaving) in packings


def _needs(packing: Packing | None, leaving: Leaving) -> Mapping[int, int]:
    return packing.needs(leaving.bars, cartons=leaving.cartons) if packing else {}


def _short(refusal: NotEnoughStock) -> PackagingShort:
    faults = Faults()
    for fault in refusal.faults:
        field = fault.field.replace("materials", "packaging", 1)
        faults.add(PackagingShort.code, f"{fault.message} {HINT}", field, **fault.details)
    return PackagingShort(faults=faults.found)


@dataclass(frozen=True, slots=True, kw_only=True)
class ToLeave:
    """What leaves: bars by position, or all that has not left yet.

    Without `cartons` each line fills its own. `without_packaging` books no packaging.
    """

    bars: Mapping[int, int] | None = None
    cartons: int | None = None
    shipped_on: date | None = None
    without_packaging: bool = False
    note: str = ""


@dataclass(slots=True)
class _Part:
    """Bars of a line with the lots they come out of: a hold and how many of it."""

    line: OpenLine
    bars: int
    takes: list[tuple[SalesOrderHold, int]]


@transaction.atomic
def ship_order(code: str, leaving: ToLeave, *, by: By = None) -> SalesShipment:
    """Ship bars that an order holds, those that have cured longest first.

    Packaging is taken from stock; the order closes when all of it has left. Raises OrderRefusal
    (cartons that cannot hold that, more than was ordered), OrderNotHeld, PackagingShort,
    LotNotUsable for a lot that was blocked or has expired meanwhile; then nothing changes.
    """
    order = lock_order(code)
    lines = lines_of(order)
    on = leaving.shipped_on or timezone.localdate()
    parts = _parts(order, lines, leaving, on=on)
    cartons = _cartons(parts, leaving.cartons)
    packed = [
        Leaving(line=part.line, bars=part.bars, cartons=count)
        for part, count in zip(parts, cartons, strict=True)
    ]
    packings = packings_of_day({_set_of(each) for each in packed}, on=on)
    packing = [0] * len(parts)
    if not leaving.without_packaging:
        packing = take_packaging(order, packed, packings, on=on, by=by)
    said = [leaving.without_packaging or _is_said(each, packings) for each in packed]
    shipment = ship(_shipping(order, parts, leaving, on=on), by=by)
    costs = list(zip(packing, said, strict=True))
    sale = _book(order, parts, shipment, cartons=leaving.cartons or sum(cartons), packing=costs)
    words = counted(by_product((part.line, part.bars) for part in parts))
    note(order, "shipped", f"{shipment.code}: {words}.", by=by)
    if all(line.row.shipped == line.row.quantity for line in lines.values()):
        order.state = SalesOrderState.SHIPPED
    order.revision += 1
    order.save(update_fields=["state", "revision", "updated_at"])
    tell_shelf(order)
    return sale


def _parts(
    order: SalesOrder, lines: Mapping[int, OpenLine], leaving: ToLeave, *, on: date
) -> list[_Part]:
    """What leaves of each line; refuses with everything that stands in the way."""
    wanted = leaving.bars
    if wanted is None:
        wanted = {place: line.to_ship for place, line in lines.items()}
    faults, unheld = Faults(), Faults()
    if on < order.ordered_on:
        faults.add("before-order", f"It was ordered on {order.ordered_on}.", "shipped_on")
    if not any(wanted.values()):
        faults.add("nothing-to-ship", "Say what leaves.", "lines")
    for place, bars in wanted.items():
        line, field = position_of(lines, place, "lines"), f"lines.{place}"
        if not 0 <= bars <= line.to_ship:
            faults.add(
                "more-than-ordered", f"Of line {place} {line.to_ship} have not left yet.", field
            )
        elif bars > line.held:
            unheld.add(
                OrderNotHeld.code,
                f"{bars} of {line.row.product.name} are to leave and {line.held} are held: hold "
                "more for the order, or ship the part that is held.",
                field,
                held=line.held,
            )
    faults.raise_if_any(OrderRefusal)
    unheld.raise_if_any(OrderNotHeld)
    return [_part(lines[place], bars) for place, bars in sorted(wanted.items()) if bars]


def _part(line: OpenLine, bars: int) -> _Part:
    takes, left = [], bars
    for hold in line.holds:
        amount = min(left, hold.remaining)
        if amount:
            takes.append((hold, amount))
            left -= amount
    return _Part(line, bars, takes)


def _cartons(parts: Sequence[_Part], stated: int | None) -> list[int]:
    """How many cartons each line fills; refuses a number that cannot hold the bars."""
    packed = [Packed(bars=part.bars, per_carton=part.line.row.bars_per_carton) for part in parts]
    fewest, most = carton_bounds(packed)
    if stated is not None and not fewest <= stated <= most:
        span = f"{fewest}" if fewest == most else f"{fewest} to {most}"
        sizes = ", ".join(f"{each.bars} at {each.per_carton} a carton" for each in packed)
        raise OrderRefusal(f"That takes {span} cartons: {sizes}.", field="cartons")
    return cartons_by_line(packed, most if stated is None else stated)


def _shipping(order: SalesOrder, parts: Sequence[_Part], leaving: ToLeave, *, on: date) -> Shipping:
    takes: dict[tuple[str, int], int] = {}
    for part in parts:
        for hold, bars in part.takes:
            key = (hold.lot.code, hold.reservation_id)
            takes[key] = takes.get(key, 0) + bars
    return Shipping(
        customer_name=order.customer.name,
        reference=order.reference or order.code,
        shipped_on=on,
        note=leaving.note,
        lines=[
            ToShip(lot=lot, reservation=reservation, amount=bars)
            for (lot, reservation), bars in takes.items()
        ],
    )


def _book(
    order: SalesOrder,
    parts: Sequence[_Part],
    shipment: "Shipment",
    *,
    cartons: int,
    packing: Sequence[tuple[int, bool]],
) -> SalesShipment:
    """The sale's rows; holds shrink. `packing` is its cost for each part, and if that is known."""
    bills, freight = _bills(order, parts)
    is_first = not order.shipments.exists()
    freight = freight if is_first else Billed(net=0, tax=0)
    fees = _fees(order, bills, freight, shipment, is_first=is_first)
    sale = SalesShipment.objects.create(
        order=order,
        shipment=shipment,
        cartons=cartons,
        packing_cost=sum(cost for cost, _ in packing),
        fees=fees,
        freight=freight.net,
        freight_tax=freight.tax,
    )
    costs = _costs(parts, shipment)
    lacking = lots_not_known().lots
    fees_by_line = spread_over(fees, [bill.gross for bill in bills])
    for index, part in enumerate(parts):
        row = SalesShipmentLine.objects.create(
            shipment=sale,
            line=part.line.row,
            bars=part.bars,
            revenue=bills[index].net,
            tax=bills[index].tax,
            cost=costs[index],
            cost_known=not any(hold.lot_id in lacking for hold, _ in part.takes),
            packing=packing[index][0],
            packing_known=packing[index][1],
            fees=fees_by_line[index],
        )
        _settle(part, row, shipment)
    return sale


def _bills(order: SalesOrder, parts: Sequence[_Part]) -> tuple[list[Billed], Billed]:
    unit = coin()
    rows = list(order.lines.order_by("position"))
    whole, freight = billed(
        OrderSums(
            lines=[row.amount for row in rows],
            freight=order.freight,
            tax=order.tax,
            tax_included=order.tax_included,
        ),
        unit=unit,
    )
    by_line = {row.pk: bill for row, bill in zip(rows, whole, strict=True)}
    bills = [
        bill_between(
            by_line[part.line.row.pk],
            part.line.row.shipped,
            part.line.row.shipped + part.bars,
            of=part.line.row.quantity,
            unit=unit,
        )
        for part in parts
    ]
    return bills, freight


def _fees(
    order: SalesOrder,
    bills: Sequence[Billed],
    freight: Billed,
    shipment: "Shipment",
    *,
    is_first: bool,
) -> int:
    """Fees of the sale: a share of what is paid, and with the first shipment the fixed ones."""
    fees = fees_of(order.customer.tier.code, shipment.shipped_on)
    paid = sum(bill.gross for bill in bills) + freight.gross
    return fees.of(paid) - (0 if is_first else fees.fixed_per_sale)


def _costs(parts: Sequence[_Part], shipment: "Shipment") -> list[int]:
    """What the ledger took off for each part; a lot that several share is split by their bars."""
    costs = [0] * len(parts)
    shipped = {line.lot_id: line.cost for line in shipment.lines.all()}
    for lot_id, cost in shipped.items():
        bars = [sum(n for hold, n in part.takes if hold.lot_id == lot_id) for part in parts]
        for index, share in enumerate(split(cost, bars)):
            costs[index] += share
    return costs


def _settle(part: _Part, row: SalesShipmentLine, shipment: "Shipment") -> None:
    """The line has shipped, its holds shrink, and each lot's part is kept."""
    shipped = {line.lot_id: line.pk for line in shipment.lines.all()}
    part.line.row.shipped += part.bars
    part.line.row.save(update_fields=["shipped"])
    for hold, bars in part.takes:
        hold.remaining -= bars
    SalesOrderHold.objects.bulk_update([hold for hold, _ in part.takes], ["remaining"])
    by_lot: dict[int, int] = {}
    for hold, bars in part.takes:
        by_lot[hold.lot_id] = by_lot.get(hold.lot_id, 0) + bars
    SalesShipmentLot.objects.bulk_create(
        SalesShipmentLot(line=row, shipped_id=shipped[lot_id], bars=bars)
        for lot_id, bars in by_lot.items()
    )
