"""Batches are judged again when something that they rest on is known otherwise.

A certificate that is entered or corrected later, a purity, another kind of alkali: whatever it is,
all that was made of it at any depth is looked at. Poured soap that turns out unsafe is held with
all that was made of it, and a batch that is only reserved says so before anybody weighs for it.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db.models import Q
from django.utils import timezone

from inventory.domain.catalog.materials import MADE_HERE
from inventory.domain.stock.holds import DECIDED, Cause, NewHold, Outcome
from inventory.queries.shipping.trace import among, made_of_these
from inventory.queries.stock.holds import holds_for
from inventory.services.events import ValuesChanged, values_changed
from inventory.services.stock.holds import hold, lock_while_growing
from recipes.domain.bench.as_made import words_of
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.models.bench.batches import Batch, BatchState
from recipes.models.bench.judgements import Judgement
from recipes.queries.bench.batches import by_position, standing_weighings
from recipes.services.bench.as_made import actuals_for
from recipes.services.bench.lot_holds import judged_today, unsafe
from recipes.services.bench.shelf import batch_rows, held_lots
from recipes.services.bench.unsafe_alerts import look_soon, register_cause
from studio.foundation.doers import doer
from studio.foundation.errors import Fault
from studio.foundation.units.writing import percent
from studio.work.jobs import WORKS, Arguments, Job, Work, start

if TYPE_CHECKING:
    from inventory.models.stock.holds import Hold

JUDGING = "recipes.judging"
#: More batches than this are judged by workers, so many at once.
AT_ONCE = 50
_LONGEST = 500


def values_have_changed(*, change: ValuesChanged, **_: Any) -> None:
    """Receiver of `inventory.services.events.values_changed`: judge what rests on it.

    In the same transaction while it is not many, so that nothing unsafe is free in between.
    """
    batches = _resting_on(change)
    if not batches:
        return
    if len(batches) <= AT_ONCE:
        # Once these lots are locked nothing is poured of them by what was known before.
        lock_while_growing(made_of_these, set(change.lots))
        judge_batches(_resting_on(change), change)
        return
    told = {**asdict(change), "lots": []}
    parts = [
        {"batches": batches[first : first + AT_ONCE], "change": told}
        for first in range(0, len(batches), AT_ONCE)
    ]
    start(
        name=JUDGING,
        arguments={"change": told, "batches": len(batches)},
        parts=parts,
        by=doer(),
        now=timezone.now(),
    )


def judge_batches(batches: Collection[int], change: ValuesChanged) -> int:
    """Judge batches (ids) by what is known now, and hold what is unsafe. Returns how many changed.

    In the caller's transaction. Some ten queries a batch.
    """
    found = Batch.objects.select_related(
        "version__formula", "version__naoh", "version__koh", "version__masterbatch"
    ).select_related("poured_lot", "reservation")
    rows = list(found.filter(pk__in=among(batches)).order_by("pk"))
    lock_while_growing(made_of_these, {row.poured_lot_id for row in rows if row.poured_lot_id})
    standing = {
        each.batch_id: each
        for each in Judgement.objects.filter(batch__in=among(batches), stands=True)
    }
    changed = [_judge(row, standing.get(row.pk), change) for row in rows]
    if any(changed):
        look_soon()
    return sum(changed)


def _resting_on(change: ValuesChanged) -> list[int]:
    """The soaps (ids) that were made of these lots at any depth, or hold them. Two queries."""
    reached = made_of_these(change.lots)
    holding = Q(reservation__lines__lot__in=among(reached), reservation__lines__remaining__gt=0)
    if change.material is not None:
        # What waits for something that is made here has no lot of it yet.
        made_here = sorted(kind.value for kind in MADE_HERE)
        holding |= Q(lines__material=change.material) | Q(lines__material__kind__in=made_here)
    wanted = Q(poured_lot__in=among(reached)) | (Q(state=BatchState.RESERVED) & holding)
    found = Batch.objects.filter(wanted, fats__gt=0).order_by("pk").values_list("pk", flat=True)
    return list(found.distinct())


def _judge(batch: Batch, standing: Judgement | None, change: ValuesChanged) -> bool:
    """Judge one batch; whether what stood of it changed."""
    poured = batch.poured_lot
    if poured is not None:
        check, faults = judged_today(batch, poured)
        held = holds_for(poured.pk, batch.holder, DECIDED)
        turned = _hold_anew(batch, faults, check, held)
        open_before = any(each.lifted_at is None for each in held)
    elif batch.state == BatchState.RESERVED:
        rows, weighed = batch_rows(batch), by_position(standing_weighings(batch.pk))
        actuals = actuals_for(batch, rows, held_lots(batch), weighed)
        check, faults = actuals.safety, actuals.faults
        if check is None and not faults:
            return False
        turned, open_before = bool(faults), False
    else:
        return False
    if standing is not None and standing.reservation_id != _reservation(batch):
        _set_aside(standing)  # it was of other lots
        standing = None
    return _keep(batch, standing, change, check, faults, turned=turned, was_held=open_before)


def _keep(
    batch: Batch,
    standing: Judgement | None,
    change: ValuesChanged,
    check: SafetyCheck | None,
    faults: Sequence[Fault],
    *,
    turned: bool,
    was_held: bool,
) -> bool:
    """Keep what was judged, where it is news."""
    was_unsafe = standing is not None and not standing.is_safe
    if not faults:
        if not was_unsafe and not (was_held and standing is None):
            return False
        assert check is not None  # or there were faults
        words = f"safe again by what is known now: superfat {percent(check.superfat)}"
    else:
        if standing is not None and was_unsafe and not (turned and batch.poured_lot_id):
            return _follow(standing, check, faults)
        if not turned and standing is None:
            return False  # it is held for that already, since it was poured
        words = words_of(faults)
    if standing is not None:
        _set_aside(standing)
    Judgement.objects.create(
        batch=batch,
        reservation_id=_reservation(batch),
        subject=change.subject,
        name=change.name[:200],
        changed=change.words[:400],
        is_safe=not faults,
        words=words[:_LONGEST],
        superfat=_superfat(check),
    )
    return True


def _superfat(check: SafetyCheck | None) -> Decimal | None:
    return None if check is None else check.superfat


def _follow(standing: Judgement, check: SafetyCheck | None, faults: Sequence[Fault]) -> bool:
    """It is unsafe still: the figures follow, what made it so stays named. Whether they changed."""
    now = words_of(faults)[:_LONGEST], _superfat(check)
    if now == (standing.words, standing.superfat):
        return False
    standing.words, standing.superfat = now
    standing.save(update_fields=["words", "superfat"])
    return True


def _set_aside(standing: Judgement) -> None:
    standing.stands = False
    standing.save(update_fields=["stands"])


def _reservation(batch: Batch) -> int | None:
    return None if batch.poured_lot_id else batch.reservation_id


def _hold_anew(
    batch: Batch, faults: Sequence[Fault], check: SafetyCheck | None, held: Sequence["Hold"]
) -> bool:
    """Hold poured soap for each sort of fault that does not hold it yet; whether any was new.

    What an owner decided over stays decided while it is not worse than it was known to be; what
    was judged safe by a value that is gone again is held.
    """
    worse, turned = _is_worse(batch, _superfat(check)), False
    for new in unsafe(batch, faults):
        if _stands_decided(new, held, worse=worse):
            continue
        assert batch.poured_lot_id is not None
        hold([batch.poured_lot_id], new, on=timezone.localdate(), by=doer())
        turned = True
    return turned


def _stands_decided(new: NewHold, held: Sequence["Hold"], *, worse: bool) -> bool:
    mine = [each for each in held if each.cause == new.cause]
    if not mine or (worse and new.cause is Cause.LYE):
        return False
    if any(each.lifted_at is None for each in mine):
        return True
    return mine[-1].outcome != Outcome.SAFE.value


def _is_worse(batch: Batch, superfat: Decimal | None) -> bool:
    """Whether it is worse than the soap was known to be, poured or judged: lower than all of that
    and 0, or not known where it was.
    """
    # What was judged of a reservation was of lots that may never have been poured.
    unsafe_as_poured = Judgement.objects.filter(
        batch=batch, is_safe=False, reservation__isnull=True
    )
    judged = unsafe_as_poured.values_list("superfat", flat=True)
    before: list[Decimal | None] = [batch.superfat_poured, *judged]
    if superfat is None:
        return None not in before
    return superfat < min(each for each in (*before, Decimal(0)) if each is not None)


def _judge_part(arguments: Arguments, prepared: Any, now: datetime) -> dict[str, Any]:
    told: Mapping[str, Any] = arguments["change"]
    # What is being poured of them is waited for, so that it is judged as poured.
    batches = Batch.objects.select_for_update().filter(pk__in=among(arguments["batches"]))
    list(batches.order_by("pk").values_list("pk"))
    change = ValuesChanged(**{**told, "lots": frozenset()})
    return {"changed": judge_batches(arguments["batches"], change)}


def _finish(job: Job, now: datetime) -> dict[str, Any]:
    return {"changed": sum(part.outcome.get("changed", 0) for part in job.parts.all())}


def register_judging() -> None:
    """Listen to what changes, and make the job and the alert known, to workers too."""
    values_changed.connect(values_have_changed)
    register_cause()
    WORKS.register(
        Work(
            name=JUDGING,
            prepare=lambda arguments: None,
            write=_judge_part,
            finish=_finish,
            shows_costs=False,
        )
    )
