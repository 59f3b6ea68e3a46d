"""What people do about holds: hold by hand, release, end a cure, decide over unsafe soap."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from django.db import transaction
from django.utils import timezone

from inventory.domain.stock.days import DayRule
from inventory.domain.stock.holds import (
    DECIDED,
    GONE,
    HELD_BY_HAND,
    LONGEST_REASON,
    LONGEST_SAID,
    RELEASED_BY_HAND,
    TO_CHECK,
    Cause,
    Decision,
    NewHold,
    Outcome,
    check_decision,
    of_batch,
    way_out,
)
from inventory.errors import DayRefusal, LotHeld, NotForYou
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.queries.shipping.trace import made_of_these
from inventory.queries.stock.holds import open_holds
from inventory.services.days import take_day_outside
from inventory.services.events import judging_again
from inventory.services.stock.holds import Lifting, close, hold, lock_while_growing
from inventory.services.stock.locks import lock_lots
from studio.foundation.doers import By
from studio.foundation.errors import Faults, InvalidInput, StateConflict
from studio.foundation.roles import may_decide


@transaction.atomic
def hold_lot(
    lot_id: int,
    *,
    reason: str = "",
    cause: Cause = Cause.BY_HAND,
    on: date | None = None,
    with_made_of: bool = False,
    by: By = None,
) -> Lot:
    """Hold a lot by hand, or to have it checked as on its arrival, which needs no reason.

    What is reserved of it stays reserved but cannot be used: the maker chooses another lot or
    releases the reservation. What was made of it before is held only `with_made_of`, each lot with
    a hold of its own: a drum that leaks says nothing of the soap, an oil that smells does. What is
    made of it later is held. Raises InvalidInput, NotFound, DayRefusal.
    """
    if cause not in HELD_BY_HAND:
        raise InvalidInput("Only these are held by hand.", field="cause")
    if with_made_of and cause is not Cause.BY_HAND:
        raise InvalidInput("What was made of it does not arrive.", field="with_made_of")
    made = lock_while_growing(made_of_these, {lot_id}) if with_made_of else []
    lot = lock_lots([lot_id])[lot_id]
    day = _day(on, since=lot.received_on, lot=lot)
    why = reason.strip() or (TO_CHECK if cause is Cause.ARRIVAL else "")
    new = NewHold(cause=cause, reason=said(why, "Say why the lot is held."))
    hold([lot_id], new, on=day, by=by)
    told = replace(new, reason=f"{new.reason} (lot {lot.code}, of which it was made)")
    hold([pk for pk in made if pk != lot_id], told, on=day, by=by)
    return Lot.objects.get(pk=lot_id)


@transaction.atomic
def release_lot(lot_id: int, *, reason: str, on: date | None = None, by: By = None) -> Lot:
    """Lift the holds by hand, on arrival and of a trial of a lot; holds of other causes stay.

    Where nothing else can be lifted like that, raises LotHeld telling what holds the lot and what
    lifts each. Raises StateConflict for a lot that nothing holds, InvalidInput without a reason.
    """
    lot = lock_lots([lot_id])[lot_id]
    found = open_holds(lot_id)
    if not found:
        raise StateConflict(f"Lot {lot.code} is not held.", field="lot")
    mine = [each for each in found if each.cause in RELEASED_BY_HAND]
    if not mine:
        raise LotHeld(
            f"Lot {lot.code} is not released by hand. {remaining(found)}",
            field="lot",
            details={"holds": [{"cause": h.cause, "reference": h.reference} for h in found]},
        )
    why = said(reason, "Say why the lot is released.")
    day = _day(on, since=max(each.on for each in mine), lot=lot)
    close([each.pk for each in mine], [lot_id], Lifting(on=day, reason=why), by=by)
    return Lot.objects.get(pk=lot_id)


@transaction.atomic
def end_cure(lot_id: int, *, reason: str = "", on: date | None = None, by: By = None) -> Lot:
    """End the cure of bars that stood here before, on the day that was stated for it or later.

    Earlier, or where no day was stated, it needs a reason. Raises LotHeld for bars of a batch,
    whose cure the batch ends, StateConflict for what does not cure, InvalidInput.
    """
    lot = lock_lots([lot_id])[lot_id]
    curing = [each for each in open_holds(lot_id) if each.cause == Cause.CURE]
    if not curing:
        raise StateConflict(f"Lot {lot.code} is not curing.", field="lot")
    for each in curing:
        if of_batch(each.reference):
            raise LotHeld(
                f"Lot {lot.code} is free once {way_out(Cause.CURE, each.reference)}.", field="lot"
            )
    day = _day(on, since=max(each.on for each in curing), lot=lot)
    until = [each.until for each in curing]
    why = reason.strip()
    if not all(end and end <= day for end in until):
        ends = max((end for end in until if end), default=None)
        over = f"Its cure is over on {ends}" if ends else "Nobody said when its cure is over"
        why = said(reason, f"{over}: say why it ends on {day}.")
    close([each.pk for each in curing], [lot_id], Lifting(on=day, reason=why), by=by)
    return Lot.objects.get(pk=lot_id)


@transaction.atomic
def decide_lot(lot_id: int, decision: Decision, *, cause: Cause | None = None, by: By) -> Lot:
    """What an owner decides of a lot that is held as lye-heavy or over the limit of a fragrance.

    Judged safe again frees all that the same document holds; a measurement frees this lot and what
    was made of it; disposed of or used up, the lot is empty. `cause` says which hold is meant
    where both are open. Raises NotForYou unless `by` is an owner, StateConflict, LotHeld with the
    figures when it is still unsafe, InvalidInput.
    """
    if not may_decide(by):
        raise NotForYou("An owner decides what becomes of soap that is held as unsafe.")
    meant = _meant(lot_id, cause)
    lots = _reached(lot_id, meant, decision.outcome)
    lot = lock_lots([lot_id])[lot_id]
    meant = _meant(lot_id, cause)  # as it stands on the locked row
    if not meant:
        raise StateConflict(f"Lot {lot.code} is not held as unsafe.", field="lot")
    _check(lot, meant, decision)
    why = said(decision.reason, "Say why.")
    if decision.outcome is Outcome.SAFE:
        figures = dict.fromkeys(_judged_again(lot, each) for each in meant)
        why = f"{why} ({'; '.join(figures)})"[:LONGEST_REASON]
    documents = {(each.cause, each.reference) for each in meant}
    ended = [h for h in open_holds(*lots) if (h.cause, h.reference) in documents]
    lifting = Lifting(
        on=decision.on,
        reason=why,
        outcome=decision.outcome,
        free_alkali=decision.free_alkali,
        measured_on=decision.measured_on,
    )
    close([each.pk for each in ended], lots, lifting, by=by)
    return Lot.objects.get(pk=lot_id)


def remaining(holds: Iterable[Hold]) -> str:
    """What holds a lot, and what lifts each, in sentences."""
    return " ".join(
        f"It is held: {each.reason.rstrip('.') or each.cause}. It is free of that once "
        f"{way_out(Cause(each.cause), each.reference)}."
        for each in holds
    )


def said(reason: str, ask: str) -> str:
    """A reason without blanks around it; raises InvalidInput for none, or one that is too long."""
    words = reason.strip()
    if not words:
        raise InvalidInput(ask, field="reason")
    if len(words) > LONGEST_SAID:
        raise InvalidInput(f"At most {LONGEST_SAID} characters.", field="reason")
    return words


def _day(on: date | None, *, since: date, lot: Lot) -> date:
    """The day of a verb: today if left out, none to come, none before what it is about or before
    the lot was there. Raises DayRefusal.
    """
    faults, first = Faults(), max(since, lot.received_on)
    if on is not None:
        _take_day(faults, on, first=first, lot=lot)
    faults.raise_if_any(DayRefusal)
    return max(on or timezone.localdate(), first)


def _take_day(faults: Faults, on: date, *, first: date, lot: Lot) -> None:
    """Add a fault for a day to come, one of long ago, or one before `first`, which the lot says."""
    take_day_outside(faults, "It", on)
    if not faults and on < first:
        came = first == lot.received_on
        told = f"came in on {first}" if came else f"stands like that only since {first}"
        code = DayRule.BEFORE_RECEIPT.value if came else "before-hold"
        faults.add(code, f"Lot {lot.code} {told}.", "on", lot=lot.code, since=first.isoformat())


def _meant(lot_id: int, cause: Cause | None) -> list[Hold]:
    """The open holds over which an owner decides, of one cause."""
    meant = [
        each
        for each in open_holds(lot_id)
        if each.cause in DECIDED and (cause is None or each.cause == cause)
    ]
    if len({each.cause for each in meant}) > 1:
        raise InvalidInput(
            "It is held as lye-heavy and as over the limit: decide over one after the other.",
            field="cause",
        )
    return meant


def _reached(lot_id: int, meant: Iterable[Hold], outcome: Outcome) -> list[int]:
    """The lots that a decision is about, locked in the order of their ids."""
    if outcome is Outcome.MEASURED:
        return lock_while_growing(made_of_these, {lot_id})
    if outcome is Outcome.SAFE:
        found = Hold.objects.filter(
            cause__in={each.cause for each in meant},
            reference__in={each.reference for each in meant},
            lifted_at__isnull=True,
        ).order_by()
        return lock_while_growing(lambda _: set(found.values_list("lot_id", flat=True)), {lot_id})
    return lock_while_growing(set, {lot_id})


def _check(lot: Lot, meant: list[Hold], decision: Decision) -> None:
    faults = Faults()
    since = max(lot.received_on, *(each.on for each in meant))
    _take_day(faults, decision.on, first=since, lot=lot)
    refusal = DayRefusal if faults else InvalidInput
    cause = Cause(meant[0].cause)
    check_decision(faults, decision, cause=cause, made_on=lot.received_on)
    faults.raise_if_any(refusal)
    if decision.outcome in GONE and lot.on_hand:
        first = (
            "write it off first"
            if decision.outcome is Outcome.DISPOSED
            else "choose it for the batch that uses it up first"
        )
        raise StateConflict(f"Lot {lot.code} is not empty yet: {first}.", field="outcome")


def _judged_again(lot: Lot, held: Hold) -> str:
    """The figures by which it is safe now. Raises LotHeld."""
    answers = [answer for _, answer in judging_again.send(Lot, lot=lot, held=held) if answer]
    if not answers:
        raise LotHeld(
            f"Nothing here can judge lot {lot.code} anew: have it measured, or dispose of it.",
            field="outcome",
        )
    return "; ".join(answers)
