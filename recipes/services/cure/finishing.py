"""After the pour: the cut gives bars, the cure releases them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from django.db import transaction

from inventory.domain.stock.lots import LotStatus
from inventory.services.buying.requirements import withdraw
from inventory.services.days import take_day_to_come
from inventory.services.stock.consumption import Actual, Taken, consume_reservation
from inventory.services.stock.ledger import Origin
from inventory.services.stock.lots import set_lot_status
from inventory.services.stock.picking import Choices
from inventory.services.stock.production import add_cost, add_parts, parts_of
from recipes.errors import BatchConflict
from recipes.models.bench.batches import Batch, BatchLine, BatchState
from recipes.models.cure.finishing import CureChoice
from recipes.queries.bench.batches import packing_needs
from recipes.services.bench.batches import expect, lock_batch, touch
from recipes.services.cure.cutting import Cut, check_cut, open_cut_lots
from recipes.services.events import batch_cured
from studio.foundation.errors import Faults, InvalidInput

if TYPE_CHECKING:
    from django.contrib.auth.models import User

__all__ = ["Cured", "Cut", "cure_batch", "cut_batch"]

#: A reason that is longer stands whole in the batch's note.
LONGEST_REASON = 1000


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

    The cost of rejected bars and of ends that are not kept falls on the good bars (normal
    spoilage), save that of unusual rejects, whose part of the poured soap is spoiled; kept ends
    are a lot of the material "<formula>-ends" with their share of the cost. Without a good bar
    what is not kept is written off, and kept ends cost by weight. Raises BatchConflict unless
    poured, InvalidInput.
    """
    batch, _ = lock_batch(code)
    expect(batch, BatchState.POURED, "cut")
    check_cut(batch, cut)
    poured = batch.poured_lot
    if poured is None:
        raise BatchConflict(f"Batch {batch.code} has no poured soap.", field="batch")
    origin = Origin(reference=batch.holder, by=by, note="cut")
    batch.bar_lot = open_cut_lots(batch, poured, cut, origin=origin)
    batch.state = BatchState.CUT
    batch.cut_on = cut.on
    batch.bars_good, batch.bars_rejected = cut.bars_good, cut.bars_rejected
    batch.bars_rejected_abnormal = cut.bars_rejected_abnormal
    batch.minutes += cut.minutes
    batch.cut_minutes += cut.minutes
    batch.note = _noted(batch.note, cut.note)
    counts = ("bars_good", "bars_rejected", "bars_rejected_abnormal", "minutes", "cut_minutes")
    touch(batch, "state", "cut_on", *counts, "note", "bar_lot")
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
    _keep_early(batch, cured, by)
    packing = [row for row in rows if row.is_packing]
    packed = _pack(batch, packing, cured, by)
    cost = sum(take.cost for take in packed)
    origin = Origin(reference=batch.holder, by=by, note="packaging")
    add_parts(bars.pk, parts_of(packed), origin=origin)
    if cost:
        add_cost(bars.pk, cost, origin=origin)
    withdraw(batch.holder)
    batch.state = BatchState.CURED
    batch.cured_on = cured.on
    batch.minutes += cured.minutes
    batch.wrap_minutes += cured.minutes
    batch.note = _noted(batch.note, cured.early_reason, cured.note)
    touch(batch, "state", "cured_on", "minutes", "wrap_minutes", "note")
    # After the batch is cured: until then its bars are held by the cure.
    set_lot_status(bars.pk, LotStatus.RELEASED, unless_blocked=True)
    batch_cured.send(sender=Batch, batch=batch, by=by)
    return batch


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


def _check_time(batch: Batch, cured: Cured) -> None:
    faults = Faults()
    take_day_to_come(faults, "A release", cured.on)
    if batch.cut_on and cured.on < batch.cut_on:
        faults.add("before-cut", f"It was cut on {batch.cut_on}.", "on")
    faults.raise_if_any(InvalidInput)
    ready = batch.cure_ready_on
    if ready and cured.on < ready and not cured.early_reason.strip():
        raise BatchConflict(
            f"The cure of batch {batch.code} is over on {ready}; give a reason to release its "
            "bars earlier.",
            field="early_reason",
            details={"cure_ready_on": ready.isoformat()},
        )


def _keep_early(batch: Batch, cured: Cured, by: "User | None") -> None:
    """A release before the cure was over stays on record with its reason."""
    ready = batch.cure_ready_on
    if ready and cured.on < ready:
        CureChoice.objects.create(
            batch=batch,
            kind=CureChoice.Kind.EARLY,
            due_on=ready,
            ready_on=cured.on,
            reason=cured.early_reason.strip()[:LONGEST_REASON],
            by=by,
        )


def _noted(*parts: str) -> str:
    return "\n".join(part for part in parts if part)
