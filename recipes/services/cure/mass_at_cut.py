"""The mass of a cut: what is stated against what was poured, and reasons for what is unusual."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from recipes.domain.cure.cutting import cut_plan
from recipes.domain.cure.mass_at_cut import (
    Asked,
    CutBalance,
    CutParts,
    ExpectedCut,
    allowed_by_scales,
    balance,
    excess,
    reasons_asked,
)
from recipes.domain.scales import Scales
from recipes.errors import CutNeedsReason
from recipes.models.bench.batches import Batch, BatchLine
from recipes.queries.molds.molds import cut_of
from studio.foundation.errors import Faults, Refusal
from studio.foundation.units.writing import grams, percent

LONGEST_REASON = 1000


def allowance_for(batch: Batch, rows: Sequence[BatchLine], parts: CutParts, scales: Scales) -> int:
    """What the scales may account for, in ng: the pour is one reading, or those of its lines."""
    if batch.poured_mass:
        return allowed_by_scales(parts, [batch.poured_mass], scales)
    soap = [row.material.mass_of(row.actual or 0) for row in rows if not row.is_packing]
    return allowed_by_scales(parts, soap, scales)


def take_excess(faults: Faults, parts: CutParts, *, poured_ng: int, allowance_ng: int) -> None:
    """Add a fault, at the heaviest weight, when what is stated cannot have come out of the pour."""
    stated = {
        "good_weight": parts.good_ng or 0,
        "rejected_weight": parts.rejected_ng or 0,
        "ends_weight": parts.ends_ng or 0,
    }
    heaviest = max(stated, key=lambda name: stated[name])
    if excess(parts, poured_ng=poured_ng, allowance_ng=allowance_ng):
        told = f"{grams(parts.stated_ng)} came out of {grams(poured_ng)} that were poured"
        if allowance_ng:
            told += f", and the scales account for {grams(allowance_ng)} at most"
        faults.add("more-than-poured", f"{told}: weigh again.", heaviest)
    elif parts.good and parts.good_ng is None and parts.stated_ng >= poured_ng:
        told = f"That leaves nothing of the {grams(poured_ng)} poured for the good bars."
        faults.add("more-than-poured", told, heaviest)


def take_too_thin(faults: Faults, parts: CutParts, *, poured_ng: int, step_ng: int) -> None:
    """Add a fault when what was poured gives each bar less than the scale can show."""
    bars = parts.good + parts.rejected
    if bars * step_ng > poured_ng:
        told = f"{bars} bars of {grams(poured_ng)} would each weigh less than {grams(step_ng)}"
        faults.add("bars-too-light", f"{told}: count again.", "bars_good")


def check_reason(batch: Batch, parts: CutParts, *, poured_ng: int, reason: str) -> None:
    """Ask for a reason where much is lost or bars are far off their planned weight.

    Raises CutNeedsReason with every fault, unless there is one.
    """
    if reason.strip():
        return
    expected = expected_cut(batch, poured_ng)
    found = balance(parts, expected)
    faults = Faults()
    for asked in reasons_asked(found, expected):
        faults.add(asked.value, _told(asked, found, expected), "reason")
    faults.raise_if_any(CutNeedsReason)


def expected_cut(batch: Batch, poured_ng: int) -> ExpectedCut:
    """What a batch's plan makes of what was poured: by its mold, else by the bars planned."""
    planned, of_pour = _by_mold(batch, batch.batter), _by_mold(batch, poured_ng)
    if planned is not None and of_pour is not None:
        return ExpectedCut(
            poured_ng=poured_ng,
            planned_bar_ng=planned[0],
            bar_ng=of_pour[0],
            ends_ng=of_pour[1],
        )
    if not batch.bars_planned or not batch.batter:
        return ExpectedCut(poured_ng=poured_ng)
    return ExpectedCut(
        poured_ng=poured_ng,
        planned_bar_ng=Fraction(batch.batter, batch.bars_planned),
        bar_ng=Fraction(poured_ng, batch.bars_planned),
    )


def _by_mold(batch: Batch, batter_ng: int) -> tuple[Fraction, int] | None:
    """A bar, and all ends with what is too short for a bar; None where no mold says it."""
    if batch.mold is None or batter_ng <= 0:
        return None
    try:
        plan = cut_plan(cut_of(batch.mold), batter_ng=batter_ng)
    except Refusal:
        # Its measures were changed so that it gives no bar any more.
        return None
    return Fraction(plan.bars_ng, plan.bars), plan.ends_ng + plan.rest_ng


def _told(asked: Asked, found: CutBalance, expected: ExpectedCut) -> str:
    if asked is Asked.LOSS:
        loss = found.loss_ng or Fraction(0)
        share = percent(Decimal(round(loss * 1000 / expected.poured_ng)) / 1000, 1)
        poured = grams(expected.poured_ng, 0)
        return (
            f"{grams(round(loss), 0)} ({share}) of the {poured} poured are in no bar, reject or "
            "end: weigh what there is, or say what became of it."
        )
    bar, planned = found.good_bar_ng or Fraction(0), expected.planned_bar_ng or Fraction(0)
    return (
        f"A good bar weighs about {grams(round(bar), 0)} and was planned with "
        f"{grams(round(planned), 0)}: say why."
    )
