"""Batches that were costed without a rate, and what rates that came late would add to them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import Sum

from costing.domain.bar_cost.conversion import (
    ConversionCost,
    ConversionLine,
    conversion_from,
    filled,
)
from costing.domain.bar_cost.late import LateCost, Left, late_cost
from costing.domain.rates.rates import Rate, RateKind, rates_in_force
from costing.models.bar_cost.conversion import Conversion, LateConversion
from costing.queries.bar_cost.batches import kept_lines
from costing.queries.rates.rates import rates_until

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from recipes.models.bench.batches import Batch


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingBatch:
    """A batch whose labor or overhead is not known, wholly or in part.

    `lines` are its efforts with those costed whose rate is there now, `late` where that would go;
    `missed` are the kinds of rates that it waits for all the same.
    """

    conversion: Conversion
    batch: "Batch"
    poured_on: date
    lines: tuple[ConversionLine, ...]
    late: LateCost
    missed: tuple[RateKind, ...]
    after: ConversionCost
    found: int

    @property
    def can_be_posted(self) -> bool:
        """Whether some rate is there now that was missing."""
        return self.found > 0


def waiting_batches(*, since: date | None = None) -> list[WaitingBatch]:
    """Batches that wait for a rate, poured on that day or later, the oldest first. Three queries.

    Rates are those in force on the day of each pour.
    """
    return looked_at(waiting_rows(since=since).select_related("batch__bar_lot"))


def waiting_rows(*, since: date | None = None) -> "QuerySet[Conversion]":
    """Their conversions with the batch, the oldest first; no query by itself."""
    rows = Conversion.objects.filter(efforts__cost__isnull=True, batch__bar_lot__isnull=False)
    if since is not None:
        rows = rows.filter(batch__poured_on__gte=since)
    picked = Conversion.objects.filter(pk__in=rows.order_by().values("pk"))
    with_batch = picked.select_related("batch__version__formula")
    return with_batch.prefetch_related("efforts").order_by("batch__poured_on", "batch_id")


def looked_at(rows: Iterable[Conversion]) -> list[WaitingBatch]:
    """The same of conversions that are read already, their lots with them. One query."""
    kept = list(rows)
    days = [row.batch.poured_on for row in kept if row.batch.poured_on is not None]
    rates = rates_until(max(days)) if days else []
    return [_waiting(row, rates) for row in kept]


def late_variances(lots: Iterable[int]) -> dict[int, int]:
    """What came late for bars that had left their lot by then, by lot id. One query."""
    rows = (
        LateConversion.objects.filter(conversion__batch__bar_lot__in=list(lots))
        .order_by("conversion__batch__bar_lot")
        .values_list("conversion__batch__bar_lot")
        .annotate(total=Sum("variance"))
    )
    return {lot: int(total) for lot, total in rows}


def _waiting(row: Conversion, rates: Iterable[Rate]) -> WaitingBatch:
    batch, lot = row.batch, row.batch.bar_lot
    assert batch.poured_on is not None and lot is not None  # it was costed
    lines = kept_lines(row)
    filled_in = filled(lines, rates_in_force(rates, on=batch.poured_on).rates)
    before, after = conversion_from(lines), conversion_from(filled_in)
    late = late_cost(
        before,
        after,
        Left(made=lot.received_amount, on_hand=lot.on_hand),
        abnormal=batch.bars_rejected_abnormal,
        bars=(batch.bars_good or 0) + (batch.bars_rejected or 0),
    )
    return WaitingBatch(
        conversion=row,
        batch=batch,
        poured_on=batch.poured_on,
        lines=tuple(filled_in),
        late=late,
        missed=after.missed,
        after=after,
        found=len(before.unknown) - len(after.unknown),
    )
