"""Rates that came late are entered on the batches that were costed without them."""

from datetime import date

from django.db import transaction

from costing.domain.bar_cost.conversion import Effort
from costing.models.bar_cost.conversion import ConversionEffort, LateConversion
from costing.queries.bar_cost.late_rates import WaitingBatch, looked_at, waiting_rows
from costing.services.bar_cost.conversion import origin_of
from inventory.services.stock.locks import lock_lots
from inventory.services.stock.production import add_cost
from studio.foundation.doers import By
from studio.work.leases import take_turn

TURN = "costing.late-rates"


@transaction.atomic
def post_late_rates(*, since: date, on: date, by: By = None) -> tuple[LateConversion, ...]:
    """Enter labor and overhead that had no rate on batches poured since a day, the oldest first.

    So is labor whose minutes nobody told, once a labor standard says what it takes. Each is costed
    at the rates and standards in force on the day of its pour. What is left of the lot takes its
    part as an entry of cost alone; the part of what has left is a variance of the day `on`, and
    changes no cost that was booked. What was costed already stays as it is, so a second time adds
    nothing. Empty when no batch waits, or no rate came.
    """
    take_turn(TURN)
    rows = list(waiting_rows(since=since).select_for_update(of=("self",)))
    lots = lock_lots([row.batch.bar_lot_id for row in rows if row.batch.bar_lot_id])
    for row in rows:
        row.batch.bar_lot = lots[row.batch.bar_lot_id or 0]
    found = [each for each in looked_at(rows) if each.can_be_posted]
    return tuple(_post(each, on=on, by=by) for each in found)


def _post(waiting: WaitingBatch, *, on: date, by: By) -> LateConversion:
    conversion, late, batch = waiting.conversion, waiting.late, waiting.batch
    posting = None
    if late.on_lot and batch.bar_lot_id is not None:
        posting = add_cost(batch.bar_lot_id, late.on_lot, origin=origin_of(batch, by, on=on))
    row = LateConversion.objects.create(
        conversion=conversion,
        on=on,
        posting=posting,
        cost=late.cost,
        on_lot=late.on_lot,
        expensed=late.expensed,
        variance=late.variance,
        by=by,
    )
    _fill(waiting, row)
    conversion.labor = waiting.after.labor
    conversion.overhead = waiting.after.overhead
    conversion.expensed += late.expensed
    conversion.minutes = waiting.after.minutes
    hourly = [line.rate for line in waiting.lines if line.effort is Effort.LABOR]
    conversion.labor_rate = hourly[0] if hourly else conversion.labor_rate
    conversion.save(update_fields=["minutes", "labor", "overhead", "expensed", "labor_rate"])
    return row


def _fill(waiting: WaitingBatch, late: LateConversion) -> None:
    """Keep amount, rate and cost of each effort that is known now, and by what it came to be."""
    known = {line.effort.value: line for line in waiting.lines if line.cost is not None}
    changed: list[ConversionEffort] = []
    for effort in waiting.conversion.efforts.all():
        line = known.get(effort.effort)
        if effort.cost is None and line is not None:
            effort.rate, effort.cost, effort.late = line.rate, line.cost, late
            effort.quantity = line.quantity
            changed.append(effort)
    ConversionEffort.objects.bulk_update(changed, ["quantity", "rate", "cost", "late"])
