"""The pour: what was really weighed is consumed, and poured soap (or a blend) is a lot."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.domain.stock.contents import steam_of
from inventory.domain.stock.ledger import Verb
from inventory.queries.catalog.materials import materials_by_id
from inventory.queries.stock.candidates import Choices
from inventory.queries.stock.contents import contents_of_lots
from inventory.services.buying.requirements import require, withdraw
from inventory.services.days import take_day_outside
from inventory.services.stock.consumption import Actual, Taken, consume_reservation
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots, parts_of
from recipes.domain.bench.as_made import (
    asked_about,
    judged,
    lye_concentration,
    words_of,
)
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.domain.weighing import check_weight
from recipes.errors import UnsafeAsItStands
from recipes.models.bench.batches import Batch, BatchLine, BatchState
from recipes.queries.bench.batches import batch_needs, standing_weighings, weighed_amounts
from recipes.queries.bench.judgements import judgement_of
from recipes.queries.formulas.slots import refuse_other_alkali
from recipes.queries.scales.scales import scales_for
from recipes.services.bench.actuals import open_reservation
from recipes.services.bench.batches import expect, labor_told, lock_batch, touch
from recipes.services.bench.lot_holds import curing, of_trial, unsafe
from recipes.services.bench.remaking import deal, lot_values, scaled_from
from recipes.services.chemistry.worst_superfat import allow_worst
from recipes.services.events import batch_cured
from recipes.services.scaling.planning import expect_made
from studio.foundation.doers import By, doer
from studio.foundation.errors import Fault, Faults, InvalidInput
from studio.foundation.units.writing import grams

if TYPE_CHECKING:
    from inventory.models.stock.lots import Lot


@dataclass(frozen=True, slots=True, kw_only=True)
class Poured:
    """What happened at the bench.

    `actual` holds, by line position, what was really used in stock units; what is left out was used
    as it was weighed before, or else by the plan. `chosen` names other lots than those held, by
    material id. `output_ng` is what was poured or made, as weighed, now or before; `minutes` is
    the labor of this step, None where nobody told it. `accept_worst` is the worst superfat that is
    accepted with it, where the lots came to be others, are known otherwise by now, or were weighed
    far off.
    """

    on: date
    actual: Mapping[int, int] = field(default_factory=dict)
    chosen: Choices = field(default_factory=dict)
    output_ng: int | None = None
    minutes: int | None = None
    note: str = ""
    accept_worst: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PouredBatch:
    """A poured batch: what it took, its lot, and the safety of what was really weighed.

    `safety` is None for a blend, and for what holds no fat. An unsafe pour is recorded as it
    happened, and its lot held.
    """

    batch: Batch
    lot: "Lot"
    taken: Sequence[Taken]
    safety: SafetyCheck | None


@transaction.atomic
def pour_batch(code: str, poured: Poured, *, by: By = None) -> PouredBatch:
    """Consume what was weighed, give back the rest, and open the lot of poured soap or blend.

    Poured soap is held until its cure is over. Packaging stays reserved until then; a blend has no
    cure and is done. When the weights make the soap lye-heavy or put too much fragrance in it,
    that holds the lot as well, until an owner decides. Where the plan itself turned so by what is
    known of its lots now, and nothing was weighed otherwise, raises UnsafeAsItStands: nobody pours
    by it. What may be worse than anybody accepted is asked about (WorstNotAccepted): of the lots at
    planned weights, or as weighed where that is much lower. Raises BatchConflict unless reserved,
    NotEnoughStock and LotNotUsable when more or other lots were used than there are, InvalidInput
    when more came out than went in, FormulaRefusal when the NaOH or KOH of the recipe is kept as
    another alkali by now.
    """
    batch, rows = lock_batch(code)
    expect(batch, BatchState.RESERVED, "poured")
    reservation = open_reservation(batch)
    if batch.fats:
        refuse_other_alkali(batch.version, {})
    if poured.output_ng is None:
        poured = replace(poured, output_ng=batch.poured_mass)
    soap = [row for row in rows if not row.is_packing]
    amounts = _amounts(soap, poured, weighed_amounts(standing_weighings(batch.pk)))
    taken = consume_reservation(
        reservation.pk,
        Actual(amounts=_by_material(soap, amounts), chosen=poured.chosen),
        on=poured.on,
        origin=Origin(reference=batch.holder, by=by, note="poured", on=poured.on),
    )
    _set_actual(soap, amounts)
    _check_output(batch, soap, poured)
    BatchLine.objects.bulk_update(soap, ["actual"])
    lot, safety = _open_lot(batch, soap, taken, poured, by)
    batch.poured_by = by or doer()
    _record(batch, poured, lot, safety)
    _settle_requirements(batch, rows)
    if batch.state == BatchState.CURED:  # a blend is done once it is mixed
        batch_cured.send(sender=Batch, batch=batch, by=by)
    else:
        expect_made(batch)
    return PouredBatch(batch=batch, lot=lot, taken=taken, safety=safety)


def _amounts(
    rows: Sequence[BatchLine], poured: Poured, weighed: Mapping[int, int]
) -> dict[int, int]:
    faults = Faults()
    take_day_outside(faults, "A pour", poured.on)
    known = {row.position for row in rows}
    for position, amount in poured.actual.items():
        if position not in known:
            faults.add(
                "unknown-line", f"The batch weighs no line {position}.", f"actual.{position}"
            )
        elif amount < 0:
            faults.add("negative-amount", "A weight cannot be below zero.", f"actual.{position}")
    check_weight(faults, poured.output_ng, "poured", least=1)
    faults.raise_if_any(InvalidInput)
    used = {**weighed, **poured.actual}
    return {row.position: used.get(row.position, row.planned) for row in rows}


def _set_actual(rows: Sequence[BatchLine], amounts: Mapping[int, int]) -> None:
    """What was used, of the materials as they are once the lots are locked: they may have changed
    meanwhile.
    """
    now = materials_by_id(row.material_id for row in rows)
    for row in rows:
        row.material, row.actual = now[row.material_id], amounts[row.position]


def _by_material(rows: Sequence[BatchLine], amounts: Mapping[int, int]) -> dict[int, int]:
    used: dict[int, int] = defaultdict(int)
    for row in rows:
        used[row.material_id] += amounts[row.position]
    return dict(used)


def _open_lot(
    batch: Batch,
    rows: Sequence[BatchLine],
    taken: Sequence[Taken],
    poured: Poured,
    by: By,
) -> tuple["Lot", SafetyCheck | None]:
    cost = sum(take.cost for take in taken)
    formula = batch.version.formula
    takes = [(take.lot, take.amount) for take in taken]
    if formula.batter is None:
        new = _blend_lot(batch, rows, taken, poured, cost)
        safety = None
    else:
        amounts = {row.position: row.actual or 0 for row in rows}
        safety, faults = _judge(batch, rows, takes, amounts, accept=poured.accept_worst, by=by)
        if faults and all(row.actual == row.planned for row in rows):
            _refuse_as_it_stands(batch, faults, on=poured.on)
        new = NewLot(
            material=formula.batter,
            code=f"{batch.code}-poured",
            amount=poured.output_ng or _mass(rows),
            cost=cost,
            received_on=poured.on,
            holds=[curing(batch), *of_trial(batch), *unsafe(batch, faults)],
            made_of=parts_of(taken),
        )
    origin = Origin(reference=batch.holder, by=by, note="poured", on=poured.on)
    return open_lots([new], verb=Verb.PRODUCE, origin=origin)[0], safety


def _judge(
    batch: Batch,
    rows: Sequence[BatchLine],
    takes: Sequence[tuple["Lot", int]],
    amounts: Mapping[int, int],
    *,
    accept: Decimal | None,
    by: By,
) -> tuple[SafetyCheck | None, Sequence[Fault]]:
    """The safety of what was weighed, and why it must not be sold (nothing when it may).

    What may be sold must have its worst superfat accepted. Notes the lye concentration that was
    made on the batch, which is saved later.
    """
    scaled = scaled_from(batch, rows)
    values = lot_values(rows, takes, amounts)
    batch.lye_concentration_poured = lye_concentration(scaled, values)
    safety, faults = judged(scaled, values)
    if safety is not None and not faults:
        own, how = asked_about(scaled, values, safety)
        allow_worst(batch.version, own, of=f"batch {batch.code}{how}", accept=accept, by=by)
    return safety, faults


def _refuse_as_it_stands(batch: Batch, faults: Sequence[Fault], *, on: date) -> None:
    """What was weighed by a plan that turned unsafe is still in its cups: it is not poured.

    What was poured on a day before anybody knew is a fact, like what was weighed otherwise.
    """
    known = judgement_of(batch)
    if known is not None and not known.is_safe and on < timezone.localtime(known.at).date():
        return
    since = f" since {known.name} changed ({known.changed})" if known is not None else ""
    raise UnsafeAsItStands(
        f"Batch {batch.code} must not be poured as it stands{since}. {words_of(faults)} Choose"
        " other lots for it; or give back what it holds, and reserve it with its lye set anew on"
        " the lots. Weigh nothing by its old sheet.",
        field="batch",
        details={"faults": [fault.code for fault in faults]},
    )


def _blend_lot(
    batch: Batch,
    rows: Sequence[BatchLine],
    taken: Sequence[Taken],
    poured: Poured,
    cost: int,
) -> NewLot:
    total = _mass(rows)
    planned_in = sum(row.material.mass_of(row.planned) for row in rows)
    # What is not weighed is taken to come out in the planned proportion to what went in.
    output = poured.output_ng or total * batch.batter // planned_in
    stays, strained = _parts(rows, taken)
    return NewLot(
        material=batch.version.formula.product,
        code=f"{batch.code}-made",
        amount=output,
        cost=cost,
        received_on=poured.on,
        made_of=stays,
        strained_out=strained,
        steam_ng=steam_of(
            into=total,
            out=output,
            planned_loss=batch.version.pot_loss_share,
            alkali=_pure_alkali(rows, taken),
        ),
    )


def _parts(
    rows: Sequence[BatchLine], taken: Sequence[Taken]
) -> tuple[dict[int, int], dict[int, int]]:
    """How much of which lots stays in a blend, and how much is strained out of it again."""
    shelf: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for take in taken:
        shelf[take.lot.material_id].append((take.lot.pk, take.amount))
    stays: dict[int, int] = defaultdict(int)
    strained: dict[int, int] = defaultdict(int)
    for row in rows:
        written = row.formula_line
        parts = strained if written is not None and written.strained else stays
        for lot_id, amount in deal(shelf[row.material_id], row.actual or 0):
            parts[lot_id] += amount
    return stays, strained


def _pure_alkali(rows: Sequence[BatchLine], taken: Sequence[Taken]) -> Decimal:
    """The mass of all pure alkali that was taken, whatever it was taken as."""
    materials = {row.material_id: row.material for row in rows}
    contents = contents_of_lots((take.lot for take in taken), materials)
    return sum(
        (
            materials[take.lot.material_id].mass_of(take.amount)
            * (contents[take.lot.pk].naoh.usual + contents[take.lot.pk].koh.usual)
            for take in taken
        ),
        Decimal(0),
    )


def _check_output(batch: Batch, rows: Sequence[BatchLine], poured: Poured) -> None:
    """More cannot come out than went in, but for what a scale may be off at each weighing."""
    if any(row.actual and row.material.counted and not row.material.piece_mass for row in rows):
        return  # nobody knows what went in
    if poured.output_ng is None:
        return
    scales = scales_for(batch.version)
    went_in = [row.material.mass_of(row.actual or 0) for row in rows]
    room = sum(scales.room_ng(mass) for mass in (*went_in, poured.output_ng))
    if poured.output_ng > sum(went_in) + room:
        raise InvalidInput(
            f"More came out ({grams(poured.output_ng)}) than went in ({grams(_mass(rows))}):"
            " weigh again, or correct what was weighed into it.",
            field="poured",
        )


def _mass(rows: Sequence[BatchLine]) -> int:
    """The mass of all that went into the mold; pieces by the mass of one."""
    return sum(row.material.mass_of(row.actual or 0) for row in rows)


def _settle_requirements(batch: Batch, rows: Sequence[BatchLine]) -> None:
    """Only the packaging is still required, once the cure is over."""
    packing = batch_needs(row for row in rows if row.is_packing)
    if packing:
        require(packing, holder=batch.holder, due_on=batch.cure_ready_on or batch.planned_on)
    else:
        withdraw(batch.holder)


def _record(batch: Batch, poured: Poured, lot: "Lot", safety: SafetyCheck | None) -> None:
    batch.poured_on = poured.on
    batch.poured_mass = poured.output_ng
    batch.mix_minutes = poured.minutes
    batch.minutes = labor_told(batch)
    batch.note = "\n".join(part for part in (batch.note, poured.note) if part)
    if batch.version.formula.batter is None:
        batch.bar_lot = lot
        batch.cured_on, batch.cured_by = poured.on, batch.poured_by
        batch.bars_good = 0
        batch.state = BatchState.CURED
    else:
        batch.poured_lot = lot
        batch.superfat_poured = None if safety is None else safety.superfat
        batch.cure_ready_on = poured.on + timedelta(days=batch.version.cure_days)
        batch.state = BatchState.POURED
    touch(
        batch,
        "poured_on",
        "poured_by",
        "cured_by",
        "minutes",
        "mix_minutes",
        "note",
        "bar_lot",
        "cured_on",
        "bars_good",
        "state",
        "poured_lot",
        "superfat_poured",
        "lye_concentration_poured",
        "poured_mass",
        "cure_ready_on",
    )
