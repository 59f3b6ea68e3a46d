"""The cut and the cure of a batch: its plan, its weighings, the curve, and what a bar weighs."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any

from inventory.domain.stock.lots import LotState
from recipes.domain.cure.cutting import CutLayout, CutPlan, cut_layout, cut_plan
from recipes.domain.cure.drying import (
    BarWeighing,
    CurvePoint,
    DayMean,
    DryingCurve,
    NoCurve,
    StableDate,
    day_means,
    fit_drying,
)
from recipes.errors import BatchConflict
from recipes.models.bench.batches import Batch, BatchState
from recipes.models.cure.finishing import CureChoice, CureWeighing, CutRecord
from recipes.queries.bench.batches import batch_by_code
from recipes.queries.molds.molds import cut_of
from studio.foundation.hints import Share

USUAL_CONFIDENCE = Decimal("0.95")
#: How far a chart goes on after the last date that it shows.
BEYOND = timedelta(days=14)
RULE = (
    "The recipe's cure days hold until weighings predict another date and the maker accepts it. "
    "Bars are for sale from then on once the maker has released them; earlier only with a reason."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchCut:
    """How a batch is cut, and the record of the cut once it was made.

    `layout` is None where the mold was only measured.
    """

    batch: Batch
    plan: CutPlan
    layout: CutLayout | None
    batter_ng: int
    record: CutRecord | None

    @property
    def basis(self) -> str:
        """Whether it is cut as "planned" or as "poured"."""
        return "planned" if self.batch.poured_lot_id is None else "poured"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """The cure of a batch.

    `default_on` is by the recipe's cure days, `ready_on` what holds now. `curve` or `no_curve` is
    None; `predicted` is None without a curve, and when the limit is more than ten years off.
    """

    batch: Batch
    limit: Share
    confidence: Share
    default_on: date
    ready_on: date
    weighings: tuple[BarWeighing, ...]
    curve: DryingCurve | None
    no_curve: NoCurve | None
    predicted: StableDate | None
    series: tuple[CurvePoint, ...]
    choices: tuple[CureChoice, ...]
    rule: str = RULE

    @property
    def may_accept(self) -> bool:
        """Whether the weighings predict another date than the one that holds."""
        return self.predicted is not None and self.predicted.on != self.ready_on

    @property
    def means(self) -> tuple[DayMean, ...]:
        """The mean of each day of weighing."""
        return tuple(day_means(self.weighings))


def cut_plan_of(code: str) -> BatchCut:
    """The cut plan of a batch, by what was poured or else by its plan. Two queries.

    Raises NotFound, BatchConflict for a batch without a mold, for a blend and for one called off.
    """
    return cut_plan_from(batch_by_code(code))


def cut_plan_from(batch: Batch) -> BatchCut:
    """The same for a batch that was read already. No query. Raises BatchConflict."""
    if batch.mold is None:
        raise BatchConflict(
            f"Batch {batch.code} has no mold, so nothing says how it is cut.", field="mold"
        )
    poured = batch.poured_lot
    batter = poured.received_amount if poured is not None else batch.batter
    if not batch.fats or batter <= 0:
        raise BatchConflict(f"Batch {batch.code} makes no soap to cut.", field="batch")
    cut = cut_of(batch.mold)
    return BatchCut(
        batch=batch,
        plan=cut_plan(cut, batter_ng=batter),
        layout=cut_layout(cut),
        batter_ng=batter,
        record=cut_record_of(batch),
    )


def cut_record_of(batch: Batch) -> CutRecord | None:
    """The record of a batch's cut; None before. No query for a batch that was read with it."""
    return getattr(batch, "cut_record", None)


def cost_of_ends(batch: Batch) -> int:
    """What the ends that went into stock took of the batch's cost, in ten-thousandths.

    That much is no longer in the cost of the bars. No query for a batch that was read with it.
    """
    record = cut_record_of(batch)
    return 0 if record is None else record.ends_cost


def cure_of(code: str) -> Cure:
    """The cure of a poured batch with its curve and dates. Four queries.

    Raises NotFound, BatchConflict before the pour.
    """
    return cure_from(batch_by_code(code))


def cure_from(batch: Batch) -> Cure:
    """The same for a batch that was read already. Two queries. Raises BatchConflict."""
    if batch.poured_on is None or batch.cure_ready_on is None:
        raise BatchConflict(
            f"Batch {batch.code} is {batch.state}: soap cures from the day it is poured.",
            field="batch",
            details={"state": str(batch.state)},
        )
    weighings = weighings_of(batch)
    limit = batch.version.weekly_loss_limit
    found = fit_drying(weighings)
    curve = found if isinstance(found, DryingCurve) else None
    sure = float(USUAL_CONFIDENCE)
    predicted = curve.stable_date(limit=limit, confidence=sure) if curve is not None else None
    default_on = batch.poured_on + timedelta(days=batch.version.cure_days)
    shown = [default_on, batch.cure_ready_on, *(one.on for one in weighings)]
    shown += [predicted.on] if predicted else []
    return Cure(
        batch=batch,
        limit=limit,
        confidence=USUAL_CONFIDENCE,
        default_on=default_on,
        ready_on=batch.cure_ready_on,
        weighings=weighings,
        curve=curve,
        no_curve=found if isinstance(found, NoCurve) else None,
        predicted=predicted,
        series=curve.series(max(shown) + BEYOND, confidence=sure) if curve is not None else (),
        choices=tuple(CureChoice.objects.filter(batch=batch).order_by("id")),
    )


def weighings_of(batch: Batch) -> tuple[BarWeighing, ...]:
    """The cure weighings of a batch by day and bar. One query."""
    rows = CureWeighing.objects.filter(batch=batch).order_by("on", "bar")
    return tuple(BarWeighing(on=row.on, bar=row.bar, weight_ng=row.weight) for row in rows)


def last_weights(weighings: Sequence[BarWeighing]) -> tuple[date, tuple[int, ...]] | None:
    """The day of the last weighing of two bars or more, and what they weighed; None without."""
    days = sorted({one.on for one in weighings}, reverse=True)
    for day in days:
        weights = tuple(one.weight_ng for one in weighings if one.on == day)
        if len(weights) > 1:
            return day, weights
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class CuredWeight:
    """The mean weight of a bar in ng, and from what it is known.

    `by` is "weighed" (the last cure weighing of two bars or more), "cut" (the good bars as cut,
    less the recipe's cure loss), or "poured" (what was poured, less the same, over all bars).
    """

    weight: Fraction
    by: str


def cured_bar_weight(batch: "Batch") -> CuredWeight | None:
    """What a bar weighs when cured; None before the pour or without bars. One query."""
    last = last_weights(weighings_of(batch))
    if last is not None:
        return CuredWeight(weight=Fraction(sum(last[1]), len(last[1])), by="weighed")
    left = 1 - Fraction(batch.version.cure_loss_share)
    record = cut_record_of(batch)
    if record is not None and record.good_weight and batch.bars_good:
        return CuredWeight(weight=Fraction(record.good_weight, batch.bars_good) * left, by="cut")
    poured = batch.poured_lot
    bars = batch.bars_planned
    if batch.bars_good is not None:
        bars = batch.bars_good + (batch.bars_rejected or 0)
    if poured is None or not bars:
        return None
    ends = (record.ends_weight or 0) if record is not None else 0
    return CuredWeight(weight=Fraction(poured.received_amount - ends, bars) * left, by="poured")


@dataclass(frozen=True, slots=True)
class Cured:
    """A cut batch whose day has come, with its bars."""

    batch: str
    product: str
    ready_on: date
    bars: int


def cure_ready_batches(*, on: date) -> list[Cured]:
    """Cut batches that are ready on a day and not yet booked as cured. One query."""
    rows: Any = (
        Batch.objects.filter(state=BatchState.CUT, cure_ready_on__lte=on)
        .order_by("cure_ready_on", "code")
        .values_list("code", "version__formula__name", "cure_ready_on", "bars_good")
    )
    return [Cured(*row) for row in rows]


def curing_bars(products: Iterable[int]) -> list[Batch]:
    """Cut batches of these bar materials (ids) of which bars still cure in stock. One query.

    Each comes with its version, formula and lot of bars; blocked bars are left out.
    """
    return list(
        Batch.objects.filter(
            state=BatchState.CUT,
            version__formula__product__in=list(products),
            bar_lot__state=LotState.QUARANTINE.value,
            bar_lot__on_hand__gt=0,
        )
        .select_related("version__formula", "bar_lot")
        .order_by("id")
    )
