"""The lye that was really made, from the weights that were really taken, and whether it is safe.

The superfat that results is `recipes.domain.chemistry.safety.evaluate`'s; here is the
concentration. Both are the inverse of what the plan solved for.
"""

from collections.abc import Sequence
from decimal import Decimal

from recipes.domain.chemistry import lye
from recipes.domain.chemistry.safety import (
    MICRO,
    AlkaliTake,
    LotTake,
    LotValues,
    SafetyCheck,
    evaluate,
    pure_alkali_of,
    recheck,
)
from recipes.domain.formulas.formula import ZERO
from recipes.domain.formulas.scaled import ScaledBatch
from recipes.domain.scaling.sizing import counted_water_share
from recipes.errors import SafetyRefusal
from studio.foundation.errors import Fault


def lye_concentration(batch: ScaledBatch, values: LotValues) -> Decimal | None:
    """Pure alkali as a share of the whole lye by mass; None when there is no lye.

    The whole lye is the alkali as weighed, the extra water, and the water of the liquids that
    count as water.
    """
    alkali = sum(
        planned if takes is None else _mass(takes)
        for takes, planned in (
            (values.naoh, batch.naoh_ng),
            (values.koh, batch.koh_ng),
            (values.masterbatch, batch.masterbatch_ng),
        )
    )
    water = batch.extra_water_ng if values.water_ng is None else values.water_ng
    counted = sum(
        (
            _mass(values.lines.get(line.position, (LotTake(line.rounded_ng),)))
            * counted_water_share(line.line)
            for line in batch.lines
        ),
        ZERO,
    )
    whole = alkali + water + int(counted)
    if not whole:
        return None
    pure = pure_alkali_of(batch, values).mass
    return lye.concentration(pure=pure, lye=whole).quantize(MICRO)


def judged(batch: ScaledBatch, values: LotValues) -> tuple[SafetyCheck, Sequence[Fault]]:
    """The safety of what was weighed, and why it must not be sold (nothing when it may)."""
    try:
        return recheck(batch, values), ()
    except SafetyRefusal as refusal:
        return evaluate(batch, values), refusal.faults


def words_of(faults: Sequence[Fault]) -> str:
    """Why something must not be sold, in one text; empty when it may."""
    return "; ".join(fault.message for fault in faults)


def _mass(takes: Sequence[LotTake] | Sequence[AlkaliTake]) -> int:
    return sum(take.mass_ng for take in takes)
