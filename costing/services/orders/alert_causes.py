"""The cause of alerts that orders know of: an order that is late, or will be."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from costing.models.orders.sales import SalesOrder, SalesOrderLine, SalesOrderState
from costing.queries.orders.sales import held_of, orders
from inventory.domain.alerts.causes import Finding
from inventory.services.alerts.registry import CAUSES, Cause, Look
from recipes.queries.cure.bars import (
    USUAL_DAYS_IN_MOLD,
    BatchUnderWay,
    batches_under_way,
    days_in_mold,
)
from studio.foundation.units.writing import how_many

#: By when the batches of an order are ready, by their id.
Ready = Mapping[int, date]


def late_orders(look: Look) -> list[Finding]:
    """Open orders whose due date has passed, or can't be met by what is held and being made.

    Twelve queries, however many orders.
    """
    rows = list(orders().filter(state=SalesOrderState.OPEN).order_by("due_on", "pk"))
    ready = _ready(rows, on=look.on)
    found = (_finding(order, ready, on=look.on) for order in rows)
    return [finding for finding in found if finding is not None]


def _ready(rows: Sequence[SalesOrder], *, on: date) -> Ready:
    products: set[int] = set()
    if rows:
        of_rows = SalesOrderLine.objects.filter(order__in=[order.pk for order in rows])
        products = set(of_rows.values_list("product__formula__product", flat=True))
    batches = batches_under_way(products=products, molds=())
    in_mold = days_in_mold({batch.formula for batch in batches})
    return {
        batch.id: _ready_on(batch, in_mold.get(batch.formula, USUAL_DAYS_IN_MOLD), on=on)
        for batch in batches
    }


def _ready_on(batch: BatchUnderWay, in_mold: int, *, on: date) -> date:
    if batch.ready_on is not None:
        return batch.ready_on
    return max(batch.started_on, on) + timedelta(max(in_mold, batch.cure_days))


def _finding(order: SalesOrder, ready: Ready, *, on: date) -> Finding | None:
    left = sum(line.quantity - line.shipped for line in order.lines.all())
    lacking, by_day = _uncovered(order, ready)
    later = max((day for day in by_day if day > order.due_on), default=None)
    figures: dict[str, Any] = {"due_on": order.due_on.isoformat(), "bars": left}
    who = f"Order {order.code} of {order.customer.name}"
    if order.due_on < on:
        days = (on - order.due_on).days
        ago = how_many(days, "day")
        reason = f"{who} was due on {order.due_on}, {ago} ago: {left} bars have not left."
    elif lacking:
        reason = (
            f"{who} is due on {order.due_on}: {lacking} bars are neither held nor being made; "
            "plan what is missing, or agree on another day."
        )
    elif later is not None:
        late = sum(bars for day, bars in by_day.items() if day > order.due_on)
        reason = (
            f"{who} is due on {order.due_on}: {late} bars are ready only on {later}; "
            "agree on another day."
        )
        figures["ready_on"] = later.isoformat()
    else:
        return None
    return Finding(
        subject=f"order:{order.code}", name=f"order {order.code}", reason=reason, figures=figures
    )


def _uncovered(order: SalesOrder, ready: Ready) -> tuple[int, dict[date, int]]:
    """Bars that nothing covers, and by day the bars that batches bring."""
    lacking, by_day = 0, defaultdict[date, int](int)
    for line in order.lines.all():
        missing = line.quantity - line.shipped - held_of(line)
        links = [(ready[link.batch_id], link.bars) for link in line.batches.all()
                 if link.batch_id in ready]  # fmt: skip
        for day, bars in sorted(links):
            part = min(missing, bars)
            if part:
                by_day[day] += part
                missing -= part
        lacking += missing
    return lacking, by_day


def register_causes() -> None:
    """Make the cause known."""
    CAUSES.register(
        Cause(
            kind="order-late", title="Order late", find=late_orders, one="is late", many="are late"
        )
    )
