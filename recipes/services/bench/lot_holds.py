"""What holds the soap of a batch: its cure, and what makes it unsafe as it was poured."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from inventory.domain.stock.holds import (
    CURING,
    DECIDED,
    LONGEST_REASON,
    Cause,
    NewHold,
    told,
    way_out,
)
from inventory.errors import LotHeld
from inventory.queries.stock.holds import open_holds
from inventory.queries.stock.lots import went_into
from recipes.domain.bench.as_made import NO_ALKALI, NO_FATS, as_poured, judged, words_of
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.errors import LyeHeavy
from recipes.models.bench.batches import Batch
from recipes.queries.formulas.current import is_trial
from recipes.services.bench.held_safety import soap_rows
from recipes.services.bench.remaking import lot_values, scaled_from
from studio.foundation.errors import Fault
from studio.foundation.units.writing import percent

if TYPE_CHECKING:
    from inventory.models.stock.holds import Hold
    from inventory.models.stock.lots import Lot


#: Bars that these alone hold are packed once they are cured.
_PACKED = frozenset({Cause.CURE, Cause.TRIAL})


def curing(batch: Batch) -> NewHold:
    """The hold of soap from its pour, and of bars from their cut, until their cure is over."""
    return NewHold(cause=Cause.CURE, reason=CURING, reference=batch.holder)


def of_trial(batch: Batch) -> list[NewHold]:
    """The hold of soap by a version that never was current: nobody said that it is what is sold.

    None for what was current when it was made, or before. One query at most.
    """
    if not is_trial(batch.version):
        return []
    words = f"version {batch.version.number} of {batch.version.formula.name} is a trial"
    return [NewHold(cause=Cause.TRIAL, reason=_of_batch(batch, words), reference=batch.holder)]


def still_of_trial(poured: "Lot") -> list[NewHold]:
    """The same of bars, unless it was lifted from the poured soap they are cut from. One query."""
    return [
        NewHold(cause=Cause.TRIAL, reason=each.reason, reference=each.reference)
        for each in open_holds(poured.pk)
        if each.cause == Cause.TRIAL
    ]


def beside_cure(batch: Batch) -> str:
    """What holds bars of a batch, or its poured soap, beside their cure, and what lifts it.

    "" where nothing does: bars of a trial cure and are packed like others, and stay held as a
    trial. One query.
    """
    lot = batch.bar_lot or batch.poured_lot
    other = [each for each in open_holds(lot.pk) if each.cause not in _PACKED] if lot else []
    if not other:
        return ""
    bars = "bars" if batch.bar_lot else "coming bars"
    ways = dict.fromkeys(way_out(Cause(each.cause), each.reference) for each in other)
    return (
        f"The {bars} of batch {batch.code} are held beside their cure: "
        f"{told((Cause(each.cause), each.reason) for each in other)}. They can be released "
        f"once {', and '.join(ways)}."
    )


def unsafe(batch: Batch, faults: Iterable[Fault]) -> list[NewHold]:
    """A hold for each sort of what makes poured soap of a batch unsafe, with all of it in words.

    They name the batch: the hold goes on to what is made of its soap, and says there whence.
    """
    found: dict[Cause, list[Fault]] = {}
    for fault in as_poured(faults):
        found.setdefault(_cause_of(fault), []).append(fault)
    return [
        NewHold(cause=cause, reason=_of_batch(batch, words_of(some)), reference=batch.holder)
        for cause, some in found.items()
    ]


def _of_batch(batch: Batch, words: str) -> str:
    named = f" (Batch {batch.code})"
    return words[: LONGEST_REASON - len(named)] + named


def judge_again(*, lot: "Lot", held: "Hold", **_: Any) -> str:
    """Receiver of `inventory.services.events.judging_again`: the figures of today, in words.

    By what is known of the lots now, so that a certificate that came or was corrected after the
    pour counts. "" for what no batch of ours holds; raises LotHeld where it is still unsafe.
    """
    kind, code = held.reference.partition(":")[::2]
    if kind != "batch" or held.cause not in DECIDED:
        return ""
    batch = Batch.objects.filter(code=code).select_related("version").first()
    if batch is None or not batch.fats or batch.poured_lot is None:
        return ""
    check, faults = judged_today(batch, batch.poured_lot)
    if still := [fault for fault in faults if _cause_of(fault) == held.cause]:
        raise LotHeld(
            f"Lot {lot.code} is still not safe by what is known of batch {batch.code} today. "
            f"{words_of(still)} Correct the value on the certificate of the lot that went in, if "
            "it was entered wrongly; else have it measured, or dispose of it.",
            field="outcome",
            details={"batch": batch.code},
        )
    return _figures(batch, check, Cause(held.cause))


def judged_today(batch: Batch, poured: "Lot") -> tuple[SafetyCheck | None, Sequence[Fault]]:
    """The safety of poured soap by what is known of its lots now, and why it must not be sold.

    None for what holds no fat.
    """
    lines = batch.lines.select_related("material", "formula_line").order_by("position")
    rows = soap_rows(lines)
    amounts = {row.position: row.actual or 0 for row in rows}
    values = lot_values(rows, went_into(poured), amounts)
    check, faults = judged(scaled_from(batch, rows), values)
    return check, as_poured(faults)


def _figures(batch: Batch, check: SafetyCheck | None, cause: Cause) -> str:
    if check is None:  # no fat is in it, so this is not about its lye
        return "no fragrance is above its maximum by what is known today"
    if cause is Cause.LYE:
        poured = batch.superfat_poured
        before = "" if poured is None else f", {percent(poured)} as poured"
        return f"superfat {percent(check.superfat)} by what is known today{before}"
    shares = ", ".join(
        f"{percent(each.share)} of at most {percent(each.maximum)}"
        for each in check.fragrances
        if each.maximum is not None
    )
    return f"fragrance {shares or 'none'} by what is known today"


def _cause_of(fault: Fault) -> Cause:
    return Cause.LYE if fault.code in (LyeHeavy.code, NO_ALKALI, NO_FATS) else Cause.LIMIT
