"""The rest of an order is called off: what it holds is free again, and what it needs forgotten."""

from typing import TYPE_CHECKING

from django.db import transaction

from costing.models.orders.sales import SalesOrder, SalesOrderBatch, SalesOrderState
from costing.services.orders.batches import TURN, spared
from costing.services.orders.holds import let_go_all
from costing.services.orders.rows import lines_of, lock_order, note, tell_shelf
from recipes.services.bench.batches import cancel_batch
from studio.work.turns import take_turn

if TYPE_CHECKING:
    from django.contrib.auth.models import User

#: Batches that can still be called off.
NOT_POURED = ("planned", "reserved")


@transaction.atomic
def cancel_rest(
    code: str, *, reason: str = "", cancel_batches: bool = False, by: "User | None" = None
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
