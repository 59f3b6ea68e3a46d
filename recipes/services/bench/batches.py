"""A planned batch: reserved with the values of the lots that will be used, or called off."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, TypeVar

from django.db import transaction
from django.utils import timezone

from inventory.errors import NotEnoughStock
from inventory.queries.stock.candidates import Choices
from inventory.services.buying.requirements import withdraw, withdraw_makes
from inventory.services.stock.reservations import Held, Holding, release, reserve
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.errors import BatchConflict
from recipes.models.bench.batches import Batch, BatchLine, BatchState, Weighing
from recipes.queries.bench.batches import batch_needs
from recipes.services.bench.held_safety import check_held
from studio.foundation.doers import By
from studio.foundation.errors import InvalidInput, NotFound

if TYPE_CHECKING:
    from django.db.models import QuerySet

Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReservedBatch:
    """A batch, what it holds, and its safety with the lots' own values (None for a blend)."""

    batch: Batch
    held: Held
    safety: SafetyCheck | None


@transaction.atomic
def reserve_batch(
    code: str,
    *,
    chosen: Choices | None = None,
    expires_on: date | None = None,
    on: date | None = None,
    accept_worst: Decimal | None = None,
    by: By = None,
) -> ReservedBatch:
    """Hold all that a planned batch needs, or nothing, and check it with the lots' own values.

    Lots that came in after the day of use, or are past their best before by then, are not picked;
    that day is `on`, or else one of `days_of_use`. `accept_worst` is the worst superfat that `by`
    accepts with it. Raises NotEnoughStock naming every short material, BatchConflict unless
    planned, LyeHeavy and the fragrance refusals when the picked lots make the plan unsafe,
    WorstNotAccepted when they may, FormulaRefusal when an alkali is kept as another by now; then
    nothing is held. Eight queries, however many lines, and a few more where something is made here
    or the worst superfat is below zero.
    """
    batch, rows = lock_batch(code)
    expect(batch, BatchState.PLANNED, "reserved")
    held = with_enough(
        days_of_use(batch, hold_until=expires_on, on=on),
        lambda day: reserve(
            Holding(
                needs=batch_needs(rows),
                holder=batch.holder,
                on=day,
                chosen=chosen or {},
                expires_on=expires_on,
            ),
            by=by,
        ),
    )
    safety = check_held(batch, rows, held.lots, accept_worst=accept_worst, by=by)
    batch.state = BatchState.RESERVED
    batch.reservation = held.reservation
    touch(batch, "state", "reservation")
    return ReservedBatch(batch=batch, held=held, safety=safety)


@transaction.atomic
def unreserve_batch(code: str, *, by: By = None) -> Batch:
    """Give back what a reserved batch holds; it is planned again. Raises BatchConflict."""
    batch, _ = lock_batch(code)
    expect(batch, BatchState.RESERVED, "released")
    _let_go(batch, by)
    batch.state = BatchState.PLANNED
    touch(batch, "state", "reservation")
    return batch


@transaction.atomic
def cancel_batch(code: str, *, by: By = None, reason: str = "") -> Batch:
    """Call off a batch that is not poured: what it holds and requires is free again.

    Raises BatchConflict once it is poured: what was used is in the books and stays there.
    """
    batch, _ = lock_batch(code)
    if batch.state not in (BatchState.PLANNED, BatchState.RESERVED):
        raise BatchConflict(
            f"Batch {batch.code} is {batch.state} and cannot be called off any more.",
            field="batch",
        )
    _let_go(batch, by)
    withdraw(batch.holder)
    withdraw_makes(batch.holder)
    batch.state = BatchState.CANCELLED
    batch.note = "\n".join(part for part in (batch.note, reason) if part)
    touch(batch, "state", "reservation", "note")
    return batch


def lock_batch(code: str) -> tuple[Batch, Sequence[BatchLine]]:
    """Lock a batch and read its lines with what the rules need. One query. Raises NotFound."""
    rows = list(
        lines_with_all()
        .select_for_update(of=("batch",))
        .filter(batch__code=code)
        .order_by("position")
    )
    if not rows:
        raise NotFound(f"There is no batch {code}.", field="batch")
    return rows[0].batch, rows


def lines_with_all() -> "QuerySet[BatchLine]":
    """Lines of batches with all that the rules need of them, so that none is read by itself."""
    return BatchLine.objects.select_related(
        "batch__version__formula__product",
        "batch__version__formula__batter",
        "batch__version__naoh",
        "batch__version__koh",
        "batch__version__masterbatch",
        "batch__reservation",
        "material",
        "formula_line",
    )


def expect(batch: Batch, state: BatchState, doing: str) -> None:
    """Refuse a step that the batch's state does not allow. Raises BatchConflict."""
    if batch.state != state:
        raise BatchConflict(
            f"Batch {batch.code} is {batch.state}; only a {state.value} batch can be {doing}.",
            field="batch",
            details={"state": str(batch.state)},
        )


def days_of_use(
    batch: Batch, *, hold_until: date | None, on: date | None = None
) -> tuple[date, ...]:
    """The days for which a batch's lots may be judged; the first with enough of them holds.

    `on` where it is said on which day they are used, else the batch's own. When that has passed,
    the batch may be late or was made then and is entered now: today comes first, and its own day
    where today has not enough (lots that were fresh then may be over). A hold lasts through its
    last day. Raises InvalidInput for a last day that is over.
    """
    today = timezone.localdate()
    if hold_until is not None and hold_until < today:
        raise InvalidInput("That day is over: choose today or a later one.", field="expires_on")
    if on is not None:
        return (on,)
    return (batch.planned_on,) if batch.planned_on >= today else (today, batch.planned_on)


def with_enough(days: Sequence[date], hold: Callable[[date], Answer]) -> Answer:
    """What `hold`, which holds all or nothing, holds for the first of the days with enough.

    Raises NotEnoughStock as it stands for the first of them.
    """
    try:
        return hold(days[0])
    except NotEnoughStock:
        for day in days[1:]:
            with suppress(NotEnoughStock):
                return hold(day)
        raise


def touch(batch: Batch, *fields: str) -> None:
    """Save these fields of a locked batch and raise its revision. One query."""
    batch.revision += 1
    batch.save(update_fields=[*fields, "revision", "updated_at"])


def labor_told(batch: Batch) -> int | None:
    """The minutes of labor that were told of a batch so far; None where none were."""
    tasks = (batch.mix_minutes, batch.cut_minutes, batch.wrap_minutes)
    told = [minutes for minutes in tasks if minutes is not None]
    return sum(told) if told else None


def _let_go(batch: Batch, by: By) -> None:
    reservation = batch.reservation
    if reservation is not None and reservation.state == "open":
        release(reservation.pk, by=by, note="batch given back")
    # What was weighed goes back into its lots' containers; the readings stay in the record.
    Weighing.objects.filter(line__batch=batch, set_aside_at__isnull=True).update(
        set_aside_at=timezone.now(), set_aside_by=by
    )
    batch.reservation = None
