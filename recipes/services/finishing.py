"""After the pour: the cut gives bars, the cure releases them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from django.db import transaction

from inventory.domain.ledger import Verb
from inventory.domain.lots import LotStatus
from inventory.services.consumption import Actual, Taken, consume_reservation, draw
from inventory.services.ledger import Origin
from inventory.services.lots import set_lot_status
from inventory.services.picking import Choices
from inventory.services.production import NewLot, add_cost, add_parts, open_lots, parts_of
from inventory.services.requirements import withdraw
from recipes.domain.formula import Basis, Stage
from recipes.domain.weighing import enough_whole
from recipes.errors import BatchConflict
from recipes.models import Batch, BatchLine, BatchState
from recipes.services.batches import expect, lock_batch, touch
from recipes.services.events import batch_cured
from studio.errors import Faults, InvalidInput

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """The cut: bars good and rejected, and the labor of it in minutes."""

    on: date
    bars_good: int
    bars_rejected: int = 0
    minutes: int = 0
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cured:
    """The end of the cure. `packed` holds what was used of packaging by material id, in stock
    units, where it differs from what the good bars need; `early_reason` is why bars are released
    before their cure is over.
    """

    on: date
    packed: Mapping[int, int] = field(default_factory=dict)
    chosen: Choices = field(default_factory=dict)
    minutes: int = 0
    early_reason: str = ""
    note: str = ""


@transaction.atomic
def cut_batch(code: str, cut: Cut, *, by: "User | None" = None) -> Batch:
    """Turn the poured soap into a lot of bars, in quarantine until the cure is over.

    The cost of rejected bars falls on the good ones (normal spoilage). Without a good bar the
    poured soap is written off. Raises BatchConflict unless poured, InvalidInput.
    """
    batch, _ = lock_batch(code)
    expect(batch, BatchState.POURED, "cut")
    _check_cut(batch, cut)
    poured = batch.poured_lot
    if poured is None:
        raise BatchConflict(f"Batch {batch.code} has no poured soap.", field="batch")
    origin = Origin(reference=batch.holder, by=by, note="cut")
    verb = Verb.CONSUME if cut.bars_good else Verb.SPOIL
    taken = draw(poured.pk, poured.on_hand, verb=verb, origin=origin, any_status=True)
    if cut.bars_good:
        # As it stands on the locked row: a recall may have come in between.
        blocked = taken.lot.status == LotStatus.BLOCKED.value
        new = NewLot(
            material=batch.version.formula.product,
            code=batch.code,
            amount=cut.bars_good,
            cost=taken.cost,
            received_on=cut.on,
            status=LotStatus.BLOCKED if blocked else LotStatus.QUARANTINE,
            status_reason=taken.lot.status_reason if blocked else "curing",
            made_of=parts_of([taken]),
        )
        batch.bar_lot = open_lots([new], verb=Verb.PRODUCE, origin=origin)[0]
    batch.state = BatchState.CUT
    batch.cut_on = cut.on
    batch.bars_good, batch.bars_rejected = cut.bars_good, cut.bars_rejected
    batch.minutes += cut.minutes
    batch.note = _noted(batch.note, cut.note)
    touch(batch, "state", "cut_on", "bars_good", "bars_rejected", "minutes", "note", "bar_lot")
    return batch


@transaction.atomic
def cure_batch(code: str, cured: Cured, *, by: "User | None" = None) -> Batch:
    """Pack and release the bars: packaging is consumed and its cost put on them.

    Raises BatchConflict unless cut, before the cure is over without a reason, or when the bars
    are blocked (lye-heavy as poured); NotEnoughStock when more packaging was used than there is.
    """
    batch, rows = lock_batch(code)
    expect(batch, BatchState.CUT, "released")
    bars = batch.bar_lot
    if bars is None:
        raise BatchConflict(f"Batch {batch.code} has no good bars to release.", field="batch")
    if bars.status == LotStatus.BLOCKED.value:
        raise BatchConflict(
            f"The bars of batch {batch.code} are blocked: {bars.status_reason}", field="batch"
        )
    _check_time(batch, cured)
    packing = [row for row in rows if row.stage == Stage.PACK.value]
    packed = _pack(batch, packing, cured, by)
    cost = sum(take.cost for take in packed)
    origin = Origin(reference=batch.holder, by=by, note="packaging")
    add_parts(bars.pk, parts_of(packed), origin=origin)
    if cost:
        add_cost(bars.pk, cost, origin=origin)
    set_lot_status(bars.pk, LotStatus.RELEASED, unless_blocked=True)
    withdraw(batch.holder)
    batch.state = BatchState.CURED
    batch.cured_on = cured.on
    batch.minutes += cured.minutes
    batch.note = _noted(batch.note, cured.early_reason, cured.note)
    touch(batch, "state", "cured_on", "minutes", "note")
    batch_cured.send(sender=Batch, batch=batch, by=by)
    return batch


def packing_needs(batch: Batch, rows: Sequence[BatchLine]) -> dict[int, int]:
    """What the good bars need of packaging: position of the row -> stock units."""
    good = batch.bars_good or 0
    return {row.position: _packing_need(batch, row, good) for row in rows}


def _packing_need(batch: Batch, row: BatchLine, good: int) -> int:
    written = row.formula_line
    if written is None or written.basis != Basis.PER_BAR.value:
        return row.planned
    if row.material.counted:
        return enough_whole(written.amount * good)
    return row.planned * good // (batch.bars_planned or good or 1)


def _pack(
    batch: Batch, rows: Sequence[BatchLine], cured: Cured, by: "User | None"
) -> Sequence[Taken]:
    if not rows:
        return []
    needs = packing_needs(batch, rows)
    used: dict[int, int] = {}
    for row in rows:
        used[row.material_id] = used.get(row.material_id, 0) + needs[row.position]
    if unknown := set(cured.packed) - set(used):
        raise InvalidInput(
            f"The batch packs no material with the id {min(unknown)}.", field="packed"
        )
    used.update(cured.packed)
    for row in rows:
        row.actual = cured.packed.get(row.material_id, needs[row.position])
    BatchLine.objects.bulk_update(rows, ["actual"])
    if batch.reservation is None or batch.reservation.state != "open":
        raise BatchConflict(
            f"The packaging of batch {batch.code} is not reserved any more.", field="batch"
        )
    return consume_reservation(
        batch.reservation.pk,
        Actual(amounts=used, chosen=cured.chosen),
        on=cured.on,
        origin=Origin(reference=batch.holder, by=by, note="packed"),
    )


def _check_cut(batch: Batch, cut: Cut) -> None:
    faults = Faults()
    for name in ("bars_good", "bars_rejected", "minutes"):
        if getattr(cut, name) < 0:
            faults.add("negative-amount", "It cannot be below zero.", name)
    if cut.bars_good + cut.bars_rejected == 0:
        faults.add("no-bars", "A cut gives at least one bar, good or rejected.", "bars_good")
    if batch.poured_on and cut.on < batch.poured_on:
        faults.add("before-pour", f"It was poured on {batch.poured_on}.", "on")
    faults.raise_if_any(InvalidInput)


def _check_time(batch: Batch, cured: Cured) -> None:
    if batch.cut_on and cured.on < batch.cut_on:
        raise InvalidInput(f"It was cut on {batch.cut_on}.", field="on")
    ready = batch.cure_ready_on
    if ready and cured.on < ready and not cured.early_reason.strip():
        raise BatchConflict(
            f"The cure of batch {batch.code} is over on {ready}; give a reason to release its "
            "bars earlier.",
            field="early_reason",
            details={"cure_ready_on": ready.isoformat()},
        )


def _noted(*parts: str) -> str:
    return "\n".join(part for part in parts if part)
