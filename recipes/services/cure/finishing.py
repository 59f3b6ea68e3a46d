"""After the pour: the cut gives bars and ends, which bear the cost; the cure releases them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.holds import LONGEST_REASON as LONGEST_LIFTING
from inventory.domain.stock.holds import Cause
from inventory.domain.stock.ledger import Verb
from inventory.queries.stock.candidates import Choices
from inventory.services.buying.requirements import withdraw
from inventory.services.catalog.materials import ensure_made_material
from inventory.services.days import take_day_outside
from inventory.services.stock.consumption import Actual, Taken, consume_reservation, draw
from inventory.services.stock.holds import lift
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, add_cost, add_parts, open_lots, parts_of
from recipes.domain.cure.cutting import CutCost, abnormal_part, cost_of_cut
from recipes.domain.cure.mass_at_cut import CutParts
from recipes.domain.weighing import check_weight
from recipes.errors import BatchConflict
from recipes.models.bench.batches import Batch, BatchLine, BatchState
from recipes.models.cure.finishing import CureChoice, CutRecord
from recipes.queries.bench.batches import packing_needs
from recipes.queries.scales.scales import scales_for
from recipes.services.bench.batches import expect, labor_told, lock_batch, touch
from recipes.services.bench.lot_holds import beside_cure, curing, still_of_trial
from recipes.services.cure.mass_at_cut import (
    LONGEST_REASON,
    allowance_for,
    check_reason,
    take_excess,
    take_too_thin,
)
from recipes.services.events import batch_cured
from recipes.services.scaling.planning import expect_made
from studio.foundation.doers import By, doer
from studio.foundation.errors import Faults, InvalidInput

if TYPE_CHECKING:
    from inventory.models.stock.lots import Lot


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """The cut: bars good and rejected, weights in ng where they were taken, labor in minutes
    (None where nobody told it).

    `bars_rejected_abnormal` of the rejects went in an unusual loss (a fall, a power cut): they are
    an expense and cost the good bars nothing, as usual rejects do (IAS 2 paragraph 16(a)).
    Ends go into stock with `keep_ends`, at `ends_cost_share` of the cost or by their weight.
    `reason` says why much was lost or bars are far off their planned weight.
    """

    on: date
    bars_good: int
    bars_rejected: int = 0
    bars_rejected_abnormal: int = 0
    good_weight: int | None = None
    rejected_weight: int | None = None
    ends_weight: int | None = None
    keep_ends: bool = False
    ends_cost_share: Decimal | None = None
    minutes: int | None = None
    note: str = ""
    reason: str = ""

    @property
    def parts(self) -> CutParts:
        """What it gave, as the balance of mass takes it."""
        return CutParts(
            good=self.bars_good,
            rejected=self.bars_rejected,
            good_ng=self.good_weight,
            rejected_ng=self.rejected_weight,
            ends_ng=self.ends_weight,
        )

    @property
    def kept(self) -> int:
        """What goes into stock of the ends, in ng."""
        return (self.ends_weight or 0) if self.keep_ends else 0


def check_cut(batch: Batch, cut: Cut, *, poured_ng: int, allowance_ng: int, step_ng: int) -> None:
    """Refuse a cut that cannot have been, with all that is wrong, or one that wants a reason.

    `allowance_ng` is what the scales may account for, `step_ng` the least that one can show.
    Raises InvalidInput, CutNeedsReason.
    """
    faults = Faults()
    take_day_outside(faults, "A cut", cut.on)
    for name in ("bars_good", "bars_rejected", "bars_rejected_abnormal", "minutes"):
        if (getattr(cut, name) or 0) < 0:
            faults.add("negative-amount", "It cannot be below zero.", name)
    if cut.bars_rejected_abnormal > cut.bars_rejected:
        faults.add(
            "more-than-rejected",
            "Count the unusual rejects among all rejects, too.",
            "bars_rejected_abnormal",
        )
    for name in ("good_weight", "rejected_weight", "ends_weight"):
        check_weight(faults, getattr(cut, name), name)
    if cut.bars_good + cut.bars_rejected == 0:
        faults.add("no-bars", "A cut gives at least one bar, good or rejected.", "bars_good")
    if batch.poured_on and cut.on < batch.poured_on:
        faults.add("before-pour", f"It was poured on {batch.poured_on}.", "on")
    if len(cut.reason.strip()) > LONGEST_REASON:
        faults.add("too-long", f"At most {LONGEST_REASON} characters.", "reason")
    _check_ends(cut, faults)
    if not faults:
        take_excess(faults, cut.parts, poured_ng=poured_ng, allowance_ng=allowance_ng)
        take_too_thin(faults, cut.parts, poured_ng=poured_ng, step_ng=step_ng)
    faults.raise_if_any(InvalidInput)
    check_reason(batch, cut.parts, poured_ng=poured_ng, reason=cut.reason)


def open_cut_lots(
    batch: Batch, poured: "Lot", cut: Cut, *, allowance_ng: int, origin: Origin
) -> "Lot | None":
    """Use up the poured soap, open the lots that the cut made, and keep the record of it.

    The lot of bars, or None without a good bar. Raises InvalidInput for ends that weigh as much
    as was poured.
    """
    if cut.bars_good:
        bars, record = _cut_to_bars(batch, poured, cut, origin)
    else:
        bars, record = None, _written_off(batch, poured, cut, origin)
    record.batch = batch
    record.good_weight, record.rejected_weight = cut.good_weight, cut.rejected_weight
    record.ends_weight, record.reason = cut.ends_weight, cut.reason.strip()
    record.allowance = allowance_ng
    record.by = origin.by
    record.save()
    return bars


def _cut_to_bars(batch: Batch, poured: "Lot", cut: Cut, origin: Origin) -> tuple["Lot", CutRecord]:
    amount = poured.on_hand
    gone = abnormal_part(
        amount - cut.kept,
        abnormal=cut.bars_rejected_abnormal,
        bars=cut.bars_good + cut.bars_rejected,
    )
    loss = draw(poured.pk, gone, verb=Verb.SPOIL, origin=origin).cost if gone else 0
    left = amount - gone
    taken = draw(poured.pk, left, verb=Verb.CONSUME, origin=origin, any_state=True)
    dealt = cost_of_cut(taken.cost, poured_ng=left, ends_ng=cut.kept, share=cut.ends_cost_share)
    cost = replace(dealt, loss=loss)
    bars = NewLot(
        material=batch.version.formula.product,
        code=batch.code,
        amount=cut.bars_good,
        cost=cost.bars,
        received_on=cut.on,
        holds=[curing(batch), *still_of_trial(poured)],
        made_of={poured.pk: left - cut.kept},
    )
    ends = [_ends(batch, poured, cut, cost.ends)] if cut.kept else []
    lots = open_lots([bars, *ends], verb=Verb.PRODUCE, origin=origin)
    return lots[0], _record(amount, cost, ends_lot=lots[1] if ends else None, cut=cut)


def _written_off(batch: Batch, poured: "Lot", cut: Cut, origin: Origin) -> CutRecord:
    """Without a good bar: kept ends take their part by weight, the rest is spoiled."""
    amount, kept = poured.on_hand, cut.kept
    if kept > amount:
        raise InvalidInput("The ends weigh more than what was poured.", field="ends_weight")
    ends_lot, ends_cost, loss = None, 0, 0
    if kept:
        taken = draw(poured.pk, kept, verb=Verb.CONSUME, origin=origin, any_state=True)
        new = _ends(batch, poured, cut, taken.cost)
        ends_lot, ends_cost = open_lots([new], verb=Verb.PRODUCE, origin=origin)[0], taken.cost
    if amount > kept:
        loss = draw(poured.pk, amount - kept, verb=Verb.SPOIL, origin=origin).cost
    return _record(amount, CutCost(bars=0, ends=ends_cost, loss=loss), ends_lot=ends_lot, cut=cut)


def _ends(batch: Batch, poured: "Lot", cut: Cut, cost: int) -> NewLot:
    """Ends may be used at once, in a later batch, unless something else than the cure holds the
    poured soap: that goes on with them.
    """
    formula = batch.version.formula
    return NewLot(
        material=ensure_made_material(
            code=f"{formula.code}-ends",
            name=f"{formula.name}, ends",
            kind=MaterialKind.INTERMEDIATE,
        ),
        code=f"{batch.code}-ends",
        amount=cut.kept,
        cost=cost,
        received_on=cut.on,
        made_of={poured.pk: cut.kept},
    )


def _record(amount: int, cost: CutCost, *, ends_lot: "Lot | None", cut: Cut) -> CutRecord:
    return CutRecord(
        poured=amount,
        ends_lot=ends_lot,
        ends_share=cut.ends_cost_share if cut.kept else None,
        cost=cost.bars + cost.ends + cost.loss,
        bars_cost=cost.bars,
        ends_cost=cost.ends,
        loss=cost.loss,
    )


def _check_ends(cut: Cut, faults: Faults) -> None:
    if cut.keep_ends and not cut.ends_weight:
        faults.add("weight-missing", "Weigh the ends that go into stock.", "ends_weight")
    if cut.ends_cost_share is None:
        return
    if not cut.keep_ends:
        faults.add("ends-not-kept", "Only ends that are kept bear a cost.", "ends_cost_share")
    elif not cut.bars_good:
        faults.add(
            "no-good-bar",
            "Without a good bar the ends bear their part by weight: leave the share out.",
            "ends_cost_share",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cured:
    """The end of the cure. `packed` holds what was used of packaging by material id, in stock
    units, where it differs from what the good bars need; `minutes` is the labor, None where nobody
    told it; `early_reason` is why bars are released before their cure is over.
    """

    on: date
    packed: Mapping[int, int] = field(default_factory=dict)
    chosen: Choices = field(default_factory=dict)
    minutes: int | None = None
    early_reason: str = ""
    note: str = ""


@transaction.atomic
def cut_batch(code: str, cut: Cut, *, by: By = None) -> Batch:
    """Turn the poured soap into a lot of bars, held until the cure is over.

    The cost of rejected bars and of ends that are not kept falls on the good bars (normal
    spoilage), save that of unusual rejects, whose part of the poured soap is spoiled; kept ends
    are a lot of the material "<formula>-ends" with their share of the cost. Without a good bar
    what is not kept is written off, and kept ends cost by weight. What is stated weighs no more
    than what was poured, within the scale. Raises BatchConflict unless poured, InvalidInput,
    CutNeedsReason.
    """
    batch, rows = lock_batch(code)
    expect(batch, BatchState.POURED, "cut")
    poured = batch.poured_lot
    if poured is None:
        raise BatchConflict(f"Batch {batch.code} has no poured soap.", field="batch")
    scales = scales_for(batch.version)
    allowance = allowance_for(batch, rows, cut.parts, scales)
    amount, step = poured.on_hand, scales.finest_step_ng
    check_cut(batch, cut, poured_ng=amount, allowance_ng=allowance, step_ng=step)
    origin = Origin(reference=batch.holder, by=by, note="cut", on=cut.on)
    batch.bar_lot = open_cut_lots(batch, poured, cut, allowance_ng=allowance, origin=origin)
    batch.state = BatchState.CUT
    batch.cut_on = cut.on
    batch.bars_good, batch.bars_rejected = cut.bars_good, cut.bars_rejected
    batch.bars_rejected_abnormal = cut.bars_rejected_abnormal
    batch.cut_minutes = cut.minutes
    batch.minutes = labor_told(batch)
    batch.note = _noted(batch.note, cut.note)
    counts = ("bars_good", "bars_rejected", "bars_rejected_abnormal", "minutes", "cut_minutes")
    touch(batch, "state", "cut_on", *counts, "note", "bar_lot")
    if not cut.bars_good:  # nothing of it cures any more
        lift(Cause.CURE, batch.holder, on=cut.on, reason="cut without a good bar", by=by)
    expect_made(batch)
    return batch


@transaction.atomic
def cure_batch(code: str, cured: Cured, *, by: By = None) -> Batch:
    """Pack and release the bars: packaging is consumed and its cost put on them.

    Raises BatchConflict unless cut, before the cure is over without a reason, or while the bars
    are held for something else; NotEnoughStock when more packaging was used than there is.
    """
    batch, rows = lock_batch(code)
    expect(batch, BatchState.CUT, "released")
    bars = batch.bar_lot
    if bars is None:
        raise BatchConflict(f"Batch {batch.code} has no good bars to release.", field="batch")
    # First, since it locks poured soap and bars in the order of their ids; a refusal undoes it.
    why = cured.early_reason.strip()[:LONGEST_LIFTING] or "the cure is over"
    lift(Cause.CURE, batch.holder, on=cured.on, reason=why, by=by)
    # Nobody packs what may have to be thrown away.
    if held := beside_cure(batch):
        raise BatchConflict(held, field="batch")
    _check_time(batch, cured)
    _keep_early(batch, cured, by)
    packing = [row for row in rows if row.is_packing]
    packed = _pack(batch, packing, cured, by)
    cost = sum(take.cost for take in packed)
    origin = Origin(reference=batch.holder, by=by, note="packaging", on=cured.on)
    add_parts(bars.pk, parts_of(packed), origin=origin)
    if cost:
        add_cost(bars.pk, cost, origin=origin)
    withdraw(batch.holder)
    batch.state = BatchState.CURED
    batch.cured_on, batch.cured_by = cured.on, by or doer()
    batch.wrap_minutes = cured.minutes
    batch.minutes = labor_told(batch)
    batch.note = _noted(batch.note, cured.early_reason, cured.note)
    touch(batch, "state", "cured_on", "cured_by", "minutes", "wrap_minutes", "note")
    batch_cured.send(sender=Batch, batch=batch, by=by)
    return batch


def _pack(batch: Batch, rows: Sequence[BatchLine], cured: Cured, by: By) -> Sequence[Taken]:
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
        origin=Origin(reference=batch.holder, by=by, note="packed", on=cured.on),
    )


def _check_time(batch: Batch, cured: Cured) -> None:
    faults = Faults()
    take_day_outside(faults, "A release", cured.on)
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


def _keep_early(batch: Batch, cured: Cured, by: By) -> None:
    """A release before the cure was over stays on record with its reason."""
    ready = batch.cure_ready_on
    if ready and cured.on < ready:
        CureChoice.objects.create(
            batch=batch,
            kind=CureChoice.Kind.EARLY,
            due_on=ready,
            ready_on=cured.on,
            # One that is longer stands whole in the batch's note.
            reason=cured.early_reason.strip()[:LONGEST_REASON],
            by=by,
        )


def _noted(*parts: str) -> str:
    return "\n".join(part for part in parts if part)
