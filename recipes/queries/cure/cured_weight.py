"""What a bar of a batch weighs when it is cured."""

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from recipes.queries.cure.cure import cut_record_of, last_weights, weighings_of

if TYPE_CHECKING:
    from recipes.models.bench.batches import Batch


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
