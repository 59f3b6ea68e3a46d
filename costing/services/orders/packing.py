"""Packaging that leaves with a shipment: taken from stock, its cost a cost of selling.

IAS 2 paragraph 16(d): selling costs are no part of what stock cost; they are an expense of the
period. What the bars themselves are packed with as they are made is in their cost already.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from costing.domain.bar_cost.packing import Packing
from costing.domain.orders.sales import packing_by_line
from costing.errors import PackagingShort
from costing.models.orders.sales import SalesOrder
from costing.queries.bar_cost.packaging import packings_of_day
from costing.services.orders.rows import OpenLine
from inventory.errors import NotEnoughStock
from inventory.services.stock.consumption import Actual, consume_reservation
from inventory.services.stock.ledger import Origin
from inventory.services.stock.reservations import Holding, reserve
from studio.foundation.errors import Faults

if TYPE_CHECKING:
    from django.contrib.auth.models import User

NOTE = "packing"
HINT = "Get it in, or ship with without_packaging: what is not booked costs nothing here."


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaving:
    """Bars of a line that leave, in so many of the shipment's cartons."""

    line: OpenLine
    bars: int
    cartons: int


def take_packaging(
    order: SalesOrder, leaving: Sequence[Leaving], *, on: date, by: "User | None"
) -> list[int]:
    """Take what the lines' packaging sets need from stock; returns what it cost for each line.

    First expired first, all or nothing. Raises PackagingShort naming what is short.
    """
    packings = packings_of_day({_set_of(each) for each in leaving}, on=on)
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
    origin = Origin(reference=order.holder, by=by, note=NOTE)
    actual = Actual(amounts=together)
    taken = consume_reservation(held.reservation.pk, actual, on=on, origin=origin)
    costs: dict[int, int] = {}
    for take in taken:
        costs[take.lot.material_id] = costs.get(take.lot.material_id, 0) + take.cost
    return packing_by_line(needs, costs)


def _set_of(leaving: Leaving) -> int:
    return leaving.line.row.product.packaging_set_id or 0


def _needs(packing: Packing | None, leaving: Leaving) -> Mapping[int, int]:
    return packing.needs(leaving.bars, cartons=leaving.cartons) if packing else {}


def _short(refusal: NotEnoughStock) -> PackagingShort:
    faults = Faults()
    for fault in refusal.faults:
        field = fault.field.replace("materials", "packaging", 1)
        faults.add(PackagingShort.code, f"{fault.message} {HINT}", field, **fault.details)
    return PackagingShort(faults=faults.found)
