"""Bars on their way, and the molds that their batches are in."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import F, Q, Window
from django.db.models.functions import RowNumber

from inventory.domain.stock.lots import LotState
from recipes.models.bench.batches import Batch, BatchState
from recipes.queries.bench.batches import UNDER_WAY
from recipes.queries.formulas.current import was_current

#: Soap stays a day or two in its mold; common practice, no source. The longer of both.
USUAL_DAYS_IN_MOLD = 2
#: So many of the last batches say how long a recipe stays in its mold.
LOOKED_AT = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchUnderWay:
    """A soap batch from its plan until its bars are released.

    `started_on` is the day of its pour, or for which that is planned. `bars` is what was cut and
    nobody holds, or before the cut what is planned. `ready_on` is known once it is poured.
    """

    id: int
    code: str
    state: str
    product: int
    formula: int
    mold: int | None
    bars: int
    started_on: date
    ready_on: date | None
    cure_days: int

    @property
    def poured(self) -> bool:
        """In its mold, not cut yet."""
        return self.state == BatchState.POURED.value

    @property
    def is_cut(self) -> bool:
        """Out of its mold, curing."""
        return self.state == BatchState.CUT.value


def batches_under_way(*, products: Collection[int], molds: Collection[int]) -> list[BatchUnderWay]:
    """Batches that make these bars or take up these molds, in the order of their days. One query.

    Cut batches whose lot is blocked are left out: nobody knows whether they become bars to sell.
    So it is of the bars of soap that is blocked in its mold, and of those that a trial will make:
    such a batch takes up its mold, and no bars are told of it.
    """
    rows = (
        Batch.objects.filter(
            Q(version__formula__product__in=products) | Q(mold__in=molds),
            state__in=UNDER_WAY,
            version__formula__batter__isnull=False,
        )
        .exclude(state=BatchState.CUT, bar_lot__isnull=True)
        .exclude(bar_lot__state=LotState.BLOCKED.value)
        .select_related("version__formula", "bar_lot", "poured_lot")
        .annotate(was_current=was_current())
        .order_by("planned_on", "id")
    )
    return [_under_way(row, is_sold=row.was_current) for row in rows]


def days_in_mold(formulas: Iterable[int]) -> dict[int, int]:
    """Days from pour to cut to reckon with, by formula: the longest of its last batches, one day
    at least. Formulas that were never cut are not in the answer. One query.
    """
    rank = Window(
        RowNumber(), partition_by=F("version__formula"), order_by=[F("cut_on").desc(), "-id"]
    )
    rows: Any = (
        Batch.objects.filter(
            version__formula__in=list(formulas), cut_on__isnull=False, poured_on__isnull=False
        )
        .annotate(rank=rank)
        .filter(rank__lte=LOOKED_AT)
        .order_by()
        .values_list("version__formula", "poured_on", "cut_on")
    )
    longest: dict[int, int] = defaultdict(lambda: 1)
    for formula, poured_on, cut_on in rows:
        longest[formula] = max(longest[formula], (cut_on - poured_on).days)
    return dict(longest)


def _under_way(row: Batch, *, is_sold: bool) -> BatchUnderWay:
    bars, lot, poured = row.bars_planned, row.bar_lot, row.poured_lot
    if lot is not None:
        bars = lot.on_hand - lot.reserved
    elif (poured is not None and poured.state == LotState.BLOCKED.value) or (
        poured is None and not is_sold
    ):
        bars = 0
    return BatchUnderWay(
        id=row.pk,
        code=row.code,
        state=row.state,
        product=row.version.formula.product_id,
        formula=row.version.formula_id,
        mold=row.mold_id,
        bars=bars,
        started_on=row.poured_on or row.planned_on,
        ready_on=row.cure_ready_on,
        cure_days=row.version.cure_days,
    )
