"""Bars are held for an order: those that have cured longest first, and as batches are released."""

from collections import defaultdict
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from costing.errors import OrderRefusal
from costing.models.orders.sales import SalesOrder, SalesOrderBatch, SalesOrderHold, SalesOrderState
from costing.services.orders.batches import TURN, spared
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
from inventory.domain.stock.lots import is_good
from inventory.queries.stock.candidates import Choices, ChosenLot
from inventory.queries.stock.on_hand import available_by_material
from inventory.services.stock.holding_more import give_back, hold
from inventory.services.stock.reservations import Held, Holding
from recipes.services.bench.batches import cancel_batch
from studio.foundation.doers import By
from studio.foundation.errors import Faults
from studio.work.leases import take_turn

if TYPE_CHECKING:
    from recipes.models.bench.batches import Batch

#: Batches that can still be called off.
NOT_POURED = ("planned", "reserved")


@transaction.atomic
def reserve_line(code: str, parts: Mapping[int, int] | None = None, *, by: By = None) -> SalesOrder:
    """Hold bars for lines of an open order by hand: bars by position, all of them or none.

    Without `parts` as many as are free of what nothing holds yet, earlier lines first. Raises
    NotEnoughStock naming what is short, OrderRefusal, OrderClosed, NotFound.
    """
    order = lock_order(code)
    hold_bars(order, lines_of(order), parts, by=by)
    return order


@transaction.atomic
def unreserve_line(
    code: str, parts: Mapping[int, int] | None = None, *, by: By = None
) -> SalesOrder:
    """Give back bars that are held for lines, the youngest first: bars by position, or all.

    Raises OrderRefusal, OrderClosed, NotFound.
    """
    order = lock_order(code)
    lines = lines_of(order)
    amounts = {place: line.held for place, line in lines.items()} if parts is None else parts
    faults = Faults()
    for place, bars in amounts.items():
        line = position_of(lines, place, "lines")
        if not 0 <= bars <= line.held:
            faults.add("not-held", f"Line {place} holds {line.held}.", f"lines.{place}")
    faults.raise_if_any(OrderRefusal)
    _let_go(order, [(lines[place], bars) for place, bars in amounts.items() if bars], by=by)
    return order


def hold_bars(
    order: SalesOrder,
    lines: Mapping[int, OpenLine],
    parts: Mapping[int, int] | None,
    *,
    by: By,
    chosen: Choices | None = None,
) -> dict[int, int]:
    """Hold bars for lines of a locked order, all or nothing; returns what each got, by position.

    Without `parts` as much as is free. `chosen` are lots by material that are taken first.
    """
    wanted = _as_free(lines) if parts is None else _checked(lines, parts)
    if not wanted:
        return {}
    needs: dict[int, int] = defaultdict(int)
    for place, bars in wanted.items():
        needs[lines[place].material] += bars
    held = hold(
        Holding(
            needs=needs,
            holder=order.holder,
            on=timezone.localdate(),
            chosen=chosen or {},
            oldest=True,
        ),
        by=by,
    )
    _write(held, [(lines[place], bars) for place, bars in wanted.items()])
    words = counted(by_product((lines[place], bars) for place, bars in wanted.items()))
    note(order, "reserved", f"Held {words}.", by=by)
    return wanted


def hold_released(*, batch: "Batch", by: By = None, **_: Any) -> None:
    """Receiver of `recipes.services.events.batch_cured`: bars go to the orders that wait for them.

    Oldest order first, each as many as were linked to it and it still misses. An order that
    somebody is changing just now is not waited for: it would want the lots that are locked here;
    its bars can be held by hand.
    """
    lot = batch.bar_lot
    if lot is None or not SalesOrderBatch.objects.filter(batch=batch.pk).exists():
        return
    links: dict[int, dict[int, int]] = defaultdict(dict)
    for link in SalesOrderBatch.objects.filter(batch=batch.pk).select_related("line"):
        links[link.line.order_id][link.line.position] = link.bars
    lot.refresh_from_db(fields=["on_hand", "reserved", "state"])
    free = lot.on_hand - lot.reserved if is_good(lot, on=timezone.localdate()) else 0
    orders = SalesOrder.objects.select_for_update(of=("self",), no_key=True, skip_locked=True)
    waiting = orders.filter(pk__in=list(links), state=SalesOrderState.OPEN)
    for order in waiting.order_by("ordered_on", "pk"):
        lines = lines_of(order)
        parts: dict[int, int] = {}
        for place, bars in sorted(links[order.pk].items()):
            parts[place] = min(bars, lines[place].missing, free)
            free -= parts[place]
        amount = sum(parts.values())
        if amount:
            chosen = {lot.material_id: [ChosenLot(code=lot.code, amount=amount)]}
            hold_bars(order, lines, parts, by=by, chosen=chosen)
        # The batch makes nothing more: what it fell short of is missing again.
        SalesOrderBatch.objects.filter(batch=batch.pk, line__order=order).delete()


def _as_free(lines: Mapping[int, OpenLine]) -> dict[int, int]:
    """As many bars as are free and missing, earlier lines first. One query."""
    materials = {line.material for line in lines.values()}
    free = available_by_material(list(materials), on=timezone.localdate())
    wanted = {}
    for place, line in lines.items():
        bars = min(line.missing, free.get(line.material, 0))
        if bars > 0:
            wanted[place] = bars
            free[line.material] -= bars
    return wanted


def _checked(lines: Mapping[int, OpenLine], parts: Mapping[int, int]) -> dict[int, int]:
    faults = Faults()
    for place, bars in parts.items():
        line = position_of(lines, place, "lines")
        if bars < 0:
            faults.add("below-zero", "Hold no less than nothing.", f"lines.{place}")
        elif bars > line.missing:
            faults.add(
                "more-than-ordered",
                f"Line {place} misses {line.missing}; {line.held} are held for it already.",
                f"lines.{place}",
                missing=line.missing,
            )
    faults.raise_if_any(OrderRefusal)
    return {place: bars for place, bars in parts.items() if bars}


def _write(held: Held, wanted: list[tuple[OpenLine, int]]) -> None:
    """Deal what was held to the lines, in the order in which they are picked. Two queries."""
    known = {
        (hold.line_id, hold.lot_id): hold
        for hold in SalesOrderHold.objects.filter(
            reservation=held.reservation, line__in=[line.row.pk for line, _ in wanted]
        )
    }
    left = {lot.pk: amount for lot, amount in held.lots}
    for line, wished in wanted:
        bars = wished
        for lot, _ in held.lots:
            part = min(bars, left[lot.pk]) if lot.material_id == line.material else 0
            if not part:
                continue
            row = known.setdefault(
                (line.row.pk, lot.pk),
                SalesOrderHold(
                    line=line.row, reservation=held.reservation, lot=lot, amount=0, remaining=0
                ),
            )
            row.amount, row.remaining = row.amount + part, row.remaining + part
            left[lot.pk] -= part
            bars -= part
    for row in known.values():
        row.save()


def let_go_all(order: SalesOrder, lines: Mapping[int, OpenLine], *, by: By) -> int:
    """Give back all that a locked order holds; returns how many bars."""
    held = [(line, line.held) for line in lines.values() if line.held]
    _let_go(order, held, by=by)
    return sum(bars for _, bars in held)


def _let_go(order: SalesOrder, parts: list[tuple[OpenLine, int]], *, by: By) -> None:
    amounts: dict[int, int] = defaultdict(int)
    changed = []
    for line, bars in parts:
        left = bars
        for row in reversed(line.holds):
            part = min(left, row.remaining)
            if part:
                amounts[row.lot_id] += part
                row.remaining -= part
                left -= part
                changed.append(row)
    if not changed:
        return
    give_back(changed[0].reservation_id, amounts, by=by, note="order given back")
    SalesOrderHold.objects.bulk_update(changed, ["remaining"])
    note(order, "given back", f"Gave back {counted(by_product(parts))}.", by=by)


@transaction.atomic
def cancel_rest(
    code: str, *, reason: str = "", cancel_batches: bool = False, by: By = None
) -> SalesOrder:
    """Call off what has not left of an order; it closes as shipped if anything has left.

    Batches that were planned for it stay, their bars free for others; with `cancel_batches` those
    that are not poured and that no other order waits for are called off. Raises NotFound,
    OrderClosed.
    """
    take_turn(TURN)
    order = lock_order(code)
    lines = lines_of(order)
    bars = let_go_all(order, lines, by=by)
    left = sum(line.row.shipped for line in lines.values())
    order.state = SalesOrderState.SHIPPED if left else SalesOrderState.CANCELLED
    order.revision += 1
    order.save(update_fields=["state", "revision", "updated_at"])
    tell_shelf(order)
    links = SalesOrderBatch.objects.filter(line__order=order, batch__state__in=NOT_POURED)
    batches = list(links.values_list("batch", flat=True).distinct())
    called_off = spared(batches, order=order) if cancel_batches else []
    for each in called_off:
        cancel_batch(each, by=by, reason=f"Order {order.code} was called off.")
    told = [reason.strip(), f"{bars} bars given back."]
    if called_off:
        told.append(f"Called off with it: {', '.join(called_off)}.")
    note(order, "cancelled", " ".join(part for part in told if part), by=by)
    return order
