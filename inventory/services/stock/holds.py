"""The only writer of holds, and of the state of lots, which is what their open holds say.

Set by set, not lot by lot: a fixed number of statements however many lots are held or freed.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import connection, transaction
from django.db.models import DateField, F, Value
from django.db.models.functions import Greatest
from django.utils import timezone

from inventory.domain.stock.holds import (
    DECIDED,
    GONE,
    INHERITED,
    LIFTED_TOGETHER,
    TRAVELING,
    Cause,
    NewHold,
    Outcome,
    state_of,
    told,
    turned_up,
    without_doubles,
)
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.queries.shipping.trace import among, made_of_these, rows_among
from inventory.services.stock.lot_history import keep_history
from studio.foundation.doers import By, doer

_OPEN_HOLDS = """
SELECT lot_id, cause, reason FROM inventory_hold
WHERE lifted_at IS NULL AND lot_id {among} ORDER BY id
"""
_STANDING = "SELECT id, state, state_reason FROM inventory_lot WHERE id {among}"
_INSERT = """
INSERT INTO inventory_hold
    (lot_id, cause, reference, reason, until, "on", at, by_id, lifted_reason, outcome)
SELECT id, %s, %s, %s, %s, %s, %s, %s, '', '' FROM inventory_lot WHERE id IN ({ids}) ORDER BY id
ON CONFLICT DO NOTHING
"""
#: VALUES names its columns column1, column2 ... on PostgreSQL and on SQLite alike.
_RESTATE = """
UPDATE inventory_lot SET state = said.column2, state_reason = said.column3
FROM (VALUES {rows}) AS said WHERE inventory_lot.id = said.column1
"""
_AT_ONCE = 5_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifting:
    """How holds end: on which day, why, and for what an owner decides its outcome."""

    on: date
    reason: str = ""
    outcome: Outcome | None = None
    free_alkali: Decimal | None = None
    measured_on: date | None = None


@transaction.atomic
def hold(lots: Iterable[int], new: NewHold, *, on: date, by: By = None) -> list[int]:
    """Open a hold on these lots (ids); returns the ids of all that it reaches.

    A hold whose cause travels reaches what was made of them, too, at any depth. Where one of the
    cause and document is open already, that one stays.
    """
    if new.cause in TRAVELING:
        ids = lock_while_growing(made_of_these, set(lots))
    else:
        ids = lock_while_growing(set, set(lots))
    if not ids:
        return []
    listed = among(ids)
    values = [
        new.cause.value,
        new.reference,
        new.reason,
        connection.ops.adapt_datefield_value(new.until),
        connection.ops.adapt_datefield_value(on),
        connection.ops.adapt_datetimefield_value(timezone.now()),
        by.pk if (by := by or doer()) else None,
    ]
    with connection.cursor() as cursor:
        cursor.execute(_INSERT.format(ids=listed.sql), [*values, *listed.params])
    _restate(ids, because=new.reason, by=by)
    return ids


@transaction.atomic
def lift(cause: Cause, reference: str, *, on: date, reason: str = "", by: By = None) -> list[int]:
    """Lift the holds of a cure, recall or trial by its document, wherever they are open.

    Returns the ids of the lots. Other causes are lifted by people, lot by lot (`close`).
    """
    if cause not in LIFTED_TOGETHER:
        raise RuntimeError(f"{cause} is not lifted by its document")
    document = Hold.objects.filter(
        cause=cause.value, reference=reference, lifted_at__isnull=True
    ).order_by()
    ids = lock_while_growing(lambda _: set(document.values_list("lot_id", flat=True)), set())
    close(list(document.values_list("pk", flat=True)), ids, Lifting(on=on, reason=reason), by=by)
    return ids


def close(holds: Sequence[int], lots: Sequence[int], lifting: Lifting, *, by: By = None) -> None:
    """End these holds (ids) of these lots, which are locked. Called by what judges the lifting."""
    if not holds:
        return
    Hold.objects.filter(pk__in=among(holds), lifted_at__isnull=True).order_by().update(
        # What was made after the day of the lifting was never held before its own day.
        lifted_on=Greatest(Value(lifting.on), F("on"), output_field=DateField()),
        lifted_at=timezone.now(),
        lifted_by=by or doer(),
        lifted_reason=lifting.reason,
        outcome=lifting.outcome.value if lifting.outcome else "",
        free_alkali=lifting.free_alkali,
        measured_on=lifting.measured_on,
    )
    _restate(lots, because=lifting.reason, by=by)


def begin(new: Sequence[tuple[Lot, Sequence[NewHold]]], *, by: By = None) -> None:
    """Save new lots, held from their first day on by these holds."""
    at = timezone.now()
    rows: list[Hold] = []
    for lot, holds in new:
        kept = without_doubles(holds)
        lot.state = state_of({each.cause for each in kept}).value
        lot.state_reason = told((each.cause, each.reason) for each in kept)
        lot.save(force_insert=True)
        rows += [
            Hold(
                lot=lot,
                cause=each.cause.value,
                reference=each.reference,
                reason=each.reason,
                until=each.until,
                on=each.since or lot.received_on,
                at=at,
                by=by,
            )
            for each in kept
        ]
    if rows:
        Hold.objects.bulk_create(rows)


def hold_what_turned_up(lots: Sequence[int], *, on: date, by: By = None) -> list[int]:
    """Hold again these locked lots (ids) of which something comes back, where the last decision
    over an unsafe one said that nothing is left of it. Returns the ids of those.

    For the same cause and document as before, and without what was made of it: that was decided
    over by itself. One query where nothing is held.
    """
    last: dict[tuple[int, str, str], Hold] = {}
    known = Hold.objects.filter(lot__in=among(lots), cause__in=sorted(DECIDED))
    for each in known.order_by(F("lifted_at").asc(nulls_last=True), "pk"):
        last[each.lot_id, each.cause, each.reference] = each
    at, again = timezone.now(), [each for each in last.values() if each.outcome in GONE]
    if not again:
        return []
    Hold.objects.bulk_create(
        Hold(
            lot_id=each.lot_id,
            cause=each.cause,
            reference=each.reference,
            reason=turned_up(each.reason, Outcome(each.outcome), each.lifted_on or on),
            on=max(on, each.lifted_on or on),
            at=at,
            by=by,
        )
        for each in again
    )
    ids = sorted({each.lot_id for each in again})
    _restate(ids, because="what was said to be gone turned up", by=by)
    return ids


def inherited(parents: Iterable[int]) -> dict[int, list[NewHold]]:
    """The open holds of lots (ids) that what is made of them takes over, by lot. One query."""
    wanted = list(parents)
    found: dict[int, list[NewHold]] = {pk: [] for pk in wanted}
    if wanted:
        rows = Hold.objects.filter(
            lot__in=wanted, lifted_at__isnull=True, cause__in=sorted(INHERITED)
        ).order_by("id")
        for row in rows:
            new = NewHold(cause=Cause(row.cause), reason=row.reason, reference=row.reference)
            found[row.lot_id].append(new)
    return found


def inherit(lot: int, parents: Iterable[int], *, on: date, by: By = None) -> None:
    """Hold a lot that stands already for what holds the lots that went into it now."""
    for holds in inherited(parents).values():
        for new in holds:
            hold([lot], new, on=on, by=by)


def lock_while_growing(look: Callable[[Iterable[int]], set[int]], ids: set[int]) -> list[int]:
    """Lock the lots that `look` finds, given those known, in the order of their ids.

    It looks again until nothing new was made of them meanwhile: once all are locked, nobody can
    use them. Unknown ids are passed over.
    """
    known = ids | look(ids)
    while True:
        rows = Lot.objects.select_for_update().filter(pk__in=among(known)).order_by("pk")
        locked = list(rows.values_list("pk", flat=True))
        again = look(known)
        if again <= known:
            return locked
        known |= again


def _restate(ids: Sequence[int], *, because: str, by: By) -> None:
    """Write what the open holds of these locked lots say, where it changed, with its history."""
    if not ids:
        return
    holds: dict[int, list[tuple[Cause, str]]] = {}
    for pk, cause, reason in rows_among(_OPEN_HOLDS, ids):
        holds.setdefault(pk, []).append((Cause(cause), reason))
    changed: list[tuple[int, str, str]] = []
    for pk, state, why in rows_among(_STANDING, ids):
        mine = holds.get(pk, [])
        said = (state_of({cause for cause, _ in mine}).value, told(mine))
        if said != (state, why):
            changed.append((pk, *said))
    for start in range(0, len(changed), _AT_ONCE):
        _write(changed[start : start + _AT_ONCE])
    if changed:
        keep_history([pk for pk, _, _ in changed], because=because, by=by)


def _write(rows: Sequence[tuple[int, str, str]]) -> None:
    params: list[Any] = [value for row in rows for value in row]
    marks = ", ".join(["(%s, %s, %s)"] * len(rows))
    with connection.cursor() as cursor:
        cursor.execute(_RESTATE.format(rows=marks), params)
