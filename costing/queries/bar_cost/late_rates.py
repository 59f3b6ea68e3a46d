"""Batches that were costed without a rate or time, and what would be added to them now."""

from collections.abc import Iterable, Mapping
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
from costing.queries.bar_cost.standards import StandardsInForce, standards_of_days
from costing.queries.rates.rates import rates_until

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from recipes.models.bench.batches import Batch


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingBatch:
    """A batch whose labor or overhead is not known, wholly or in part.

    `lines` are its efforts with those costed whose rate and time are there now, `late` where that
    would go; `missed` are the kinds of rates that it waits for all the same, `untold` whether it
    waits for minutes that nobody told.
    """

    conversion: Conversion
    batch: "Batch"
    poured_on: date
    lines: tuple[ConversionLine, ...]
    late: LateCost
    missed: tuple[RateKind, ...]
    untold: bool
    after: ConversionCost
    found: int

    @property
    def can_be_posted(self) -> bool:
        """Whether some rate or time is there now that was missing."""
        return self.found > 0


def waiting_batches(*, since: date | None = None) -> list[WaitingBatch]:
    """Batches that wait for a rate or a time, poured since that day, the oldest first.

    Four queries. Rates and labor standards are those in force on the day of each pour, as they are
    known now.
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
    """The same of conversions that are read already, their lots with them. Two queries."""
    kept = list(rows)
    days = [row.batch.poured_on for row in kept if row.batch.poured_on is not None]
    rates = rates_until(max(days)) if days else []
    formulas = {row.batch.version.formula_id for row in kept}
    standards = standards_of_days(formulas, days=days)
    return [_waiting(row, rates, standards) for row in kept]


def late_variances(lots: Iterable[int]) -> dict[int, int]:
    """What came late for bars that had left their lot by then, by lot id. One query."""
    rows = (
        LateConversion.objects.filter(conversion__batch__bar_lot__in=list(lots))
        .order_by("conversion__batch__bar_lot")
        .values_list("conversion__batch__bar_lot")
        .annotate(total=Sum("variance"))
    )
    return {lot: int(total) for lot, total in rows}


def _waiting(
    row: Conversion, rates: Iterable[Rate], standards: Mapping[date, StandardsInForce]
) -> WaitingBatch:
    batch, lot = row.batch, row.batch.bar_lot
    assert batch.poured_on is not None and lot is not None  # it was costed
    lines = kept_lines(row)
    seconds = standards[batch.poured_on].done(batch, until=batch.cured_on).seconds
    found = rates_in_force(rates, on=batch.poured_on).rates
    filled_in = filled(lines, found, seconds=seconds)
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
        untold=after.untold,
        after=after,
        found=len(before.unknown) - len(after.unknown),
    )
