"""The lye that was really made, from the weights that were really taken, and whether it is safe.

The superfat that results is `recipes.domain.chemistry.safety.evaluate`'s; here is the
concentration. Both are the inverse of what the plan solved for.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal

from recipes.domain.chemistry import lye
from recipes.domain.chemistry.safety import (
    MICRO,
    LotTake,
    LotValues,
    SafetyCheck,
    evaluate,
    fragrance_faults,
    lye_ng,
    pure_in_lye,
    recheck,
    takes_alkali,
)
from recipes.domain.formulas.formula import ONE, ZERO
from recipes.domain.formulas.scaled import ScaledBatch
from recipes.domain.scaling.sizing import counted_water_share
from recipes.errors import LyeHeavy, SafetyRefusal
from studio.foundation.errors import Fault
from studio.foundation.units.writing import percent

#: The codes of the faults of a pour that holds no alkali to speak of, and of one without fats.
NO_ALKALI, NO_FATS = "no-alkali", "no-fats"
#: What weighing may lower the worst superfat (as a share) before it is asked about anew. Common
#: practice, no source.
SLIP = Decimal("0.005")


def lye_concentration(batch: ScaledBatch, values: LotValues) -> Decimal | None:
    """Pure alkali as a share of the whole lye by mass; None when there is no lye.

    The whole lye is the alkali as weighed, the extra water, and the water of the liquids that
    count as water.
    """
    counted = sum(
        (
            _mass(values.lines.get(line.position, (LotTake(line.rounded_ng),)))
            * counted_water_share(line.line)
            for line in batch.lines
        ),
        ZERO,
    )
    whole = lye_ng(batch, values) + int(counted)
    if not whole:
        return None
    pure = pure_in_lye(batch, values).mass
    return lye.concentration(pure=pure, lye=whole).quantize(MICRO)


def judged(batch: ScaledBatch, values: LotValues) -> tuple[SafetyCheck | None, Sequence[Fault]]:
    """The safety of what was weighed, and why it must not be sold (nothing when it may).

    None where no fat takes the alkali: what share of it is left over cannot be told. What is wrong
    with its fragrance is told beside what is wrong with its lye, whatever that is.
    """
    if not takes_alkali(batch, values):
        none = "There is no fat in it that takes alkali: it is no soap, and its superfat not known."
        return None, (Fault(NO_FATS, none), *fragrance_faults(batch, values))
    faults: Sequence[Fault] = ()
    try:
        check = recheck(batch, values)
    except SafetyRefusal as refusal:
        check, faults = evaluate(batch, values), refusal.faults
    if check.superfat >= ONE:
        none = "There is no alkali in it beyond what its acids take: it is no soap."
        faults = (Fault(NO_ALKALI, none), *faults)
    return check, faults


def at_planned_weights(batch: ScaledBatch, values: LotValues) -> SafetyCheck:
    """The safety of the lots that are taken, had each line and alkali been weighed as planned.

    So the lots alone decide; what the scale was off is told as such. Nothing is refused.
    """
    alkalis = {
        "naoh": batch.naoh_ng,
        "koh": batch.koh_ng,
        "masterbatch": batch.masterbatch_ng,
        "water": batch.extra_water_ng,
    }
    planned = {each.position: each.rounded_ng for each in batch.lines}
    lines = {
        position: to_plan
        for position, takes in values.lines.items()
        if (to_plan := _weighing(takes, planned[position])) is not None
    }
    slots = {name: _weighing(getattr(values, name), mass) for name, mass in alkalis.items()}
    return evaluate(batch, LotValues(lines=lines, **slots))


def asked_about(
    batch: ScaledBatch, values: LotValues, weighed: SafetyCheck
) -> tuple[SafetyCheck, str]:
    """The safety of which the worst is to be accepted before the pour, and what to call it by.

    That of the lots at planned weights; or `weighed`, that of what was really taken, where its
    worst is lower by more than SLIP.
    """
    planned = at_planned_weights(batch, values)
    if weighed.worst < planned.worst - SLIP:
        return weighed, " as weighed"
    return planned, ""


def _weighing(takes: Sequence[LotTake] | None, planned: int) -> Sequence[LotTake] | None:
    """The same takes, in proportion, that weigh so much; None where nothing is taken."""
    total = _mass(takes or ())
    if not total:
        return None
    return [replace(take, mass_ng=take.mass_ng * planned // total) for take in takes or ()]


def as_poured(faults: Iterable[Fault]) -> list[Fault]:
    """The same faults as they are told of soap that is poured already: nothing of it is to be."""
    return [_poured(fault) if fault.code == LyeHeavy.code else fault for fault in faults]


def _poured(fault: Fault) -> Fault:
    superfat = percent(Decimal(fault.details["superfat"]))
    message = f"Lye-heavy: the superfat is {superfat} as weighed"
    message += ", so free lye stays in the soap and burns."
    return replace(fault, message=message)


def words_of(faults: Sequence[Fault]) -> str:
    """Why something must not be sold, in whole sentences; empty when it may."""
    return " ".join(fault.message for fault in faults)


def _mass(takes: Sequence[LotTake]) -> int:
    return sum(take.mass_ng for take in takes)
