"""Batches for the list: what is under way, what is due, and what comes next of each."""

from datetime import date, timedelta

from django.db.models import Q, QuerySet

from recipes.models.bench.batches import Batch, BatchState

#: Soap stays in its mold for a day at least (common practice, no source).
DAYS_IN_MOLD = timedelta(days=1)
UNDER_WAY = (BatchState.PLANNED, BatchState.RESERVED, BatchState.POURED, BatchState.CUT)


def batches_listed() -> "QuerySet[Batch]":
    """Batches with what a list shows of them. One query, however long it is."""
    return Batch.objects.select_related("version__formula", "mold")


def due_by(on: date) -> Q:
    """Condition for batches of which the next step is due on a day."""
    before = Q(state__in=[BatchState.PLANNED, BatchState.RESERVED], planned_on__lte=on)
    in_mold = Q(state=BatchState.POURED, poured_on__lte=on - DAYS_IN_MOLD)
    return before | in_mold | Q(state=BatchState.CUT, cure_ready_on__lte=on)


def due_on(batch: Batch) -> date | None:
    """The day on which what comes next is due; None where nothing comes any more."""
    state = BatchState(batch.state)
    if state is BatchState.CUT:
        return batch.cure_ready_on
    if state is BatchState.POURED and batch.poured_on is not None:
        return batch.poured_on + DAYS_IN_MOLD
    return batch.planned_on if state in UNDER_WAY else None
