"""What is asked for, and a plan kept as a batch: its version frozen, the shelf told its needs."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from inventory.services.buying.requirements import expect, require, withdraw_makes
from recipes.domain.formulas.scaled import (
    BarsTarget,
    BatterTarget,
    FatTarget,
    Target,
    VolumeTarget,
    written_target,
)
from recipes.domain.levels.explosion import days_after
from recipes.domain.weighing import MOST_BARS
from recipes.errors import ScalingRefusal
from recipes.models.bench.batches import Batch, BatchLine, BatchState
from recipes.models.formulas.formulas import FormulaVersion
from recipes.queries.bench.batches import UNDER_WAY, batch_needs
from recipes.queries.formulas.current import is_trial
from recipes.queries.molds.molds import mold_by_code
from recipes.queries.scaling.plans import Plan, PlanLine, Wish
from recipes.services.events import batch_planned
from studio.foundation.doers import By
from studio.foundation.errors import Faults
from studio.work.numbering import next_code


def expect_made(batch: Batch) -> None:
    """Tell the shelf what a batch will have made, and when, as its state says. Two queries, for one
    that is not current three.

    Bars come on the day their cure is over, as many as are planned until they are cut; a blend
    comes when it is ready. What is done or called off makes nothing any more, and a planned trial
    nothing that is sold; once there is a lot of it, its holds say so.
    """
    formula = batch.version.formula
    is_begun = batch.state in (BatchState.POURED, BatchState.CUT)
    is_soap = formula.batter_id is not None
    if batch.state not in UNDER_WAY or (is_soap and not is_begun and is_trial(batch.version)):
        withdraw_makes(batch.holder)
        return
    amount = batch.bars_planned if is_soap else batch.batter
    lot_id = batch.poured_lot_id
    if batch.state == BatchState.CUT:
        amount, lot_id = batch.bars_good or 0, batch.bar_lot_id
    days = batch.version.cure_days if is_soap else batch.version.ready_days
    expect(
        {formula.product_id: amount},
        holder=batch.holder,
        due_on=batch.cure_ready_on or days_after(batch.planned_on, days),
        days_to_make=0 if is_begun else days,
        lot_id=lot_id,
    )


Part = BatchLine.Part


@transaction.atomic
def plan_batch(
    plan: Plan,
    *,
    planned_on: date,
    code: str = "",
    note: str = "",
    planned_for: Batch | None = None,
    by: By = None,
) -> Batch:
    """Keep a plan as a batch, freeze its version, and tell the shelf what it needs by then.

    The shelf also hears what it will make, and when that is ready. `planned_for` is the batch
    for whose sake it is made.
    """
    _frozen(plan.loaded.version.pk)
    batch = Batch.objects.create(
        code=code or next_code("B"),
        version=plan.loaded.version,
        mold=plan.wish.mold,
        planned_on=planned_on,
        target=written_target(plan.target),
        bars_planned=plan.bars,
        batter=plan.output_ng,
        note=note,
        planned_for=planned_for,
        by=by,
        **_figures(plan),
    )
    lines = BatchLine.objects.bulk_create(
        _stored(batch, position, line, plan) for position, line in enumerate(plan.lines)
    )
    require(batch_needs(lines), holder=batch.holder, due_on=planned_on)
    expect_made(batch)
    batch_planned.send(sender=Batch, batch=batch, plan=plan, by=by)
    return batch


def _frozen(pk: int) -> None:
    """Freeze the version from its first batch on."""
    version = FormulaVersion.objects.select_for_update().get(pk=pk)
    if version.frozen_at is None:
        version.frozen_at = timezone.now()
        version.save(update_fields=["frozen_at"])


def _figures(plan: Plan) -> Mapping[str, int | Decimal]:
    if plan.scaled is None:
        return {}
    return {
        "fats": plan.scaled.fats_ng,
        "superfat": plan.scaled.superfat,
        "superfat_worst": plan.scaled.worst_superfat,
        "lye_concentration": plan.scaled.lye_concentration,
    }


def _stored(batch: Batch, position: int, line: PlanLine, plan: Plan) -> BatchLine:
    row = None if line.position is None else plan.loaded.rows[line.position]
    return BatchLine(
        batch=batch,
        position=position,
        part=line.part,
        formula_line=row,
        material=line.material,
        stage=line.stage.value,
        portion=line.portion,
        planned=line.amount,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A target as it is written: masses in ng, volume in nL, lengths in nm, the mold by its code.

    `bars` with `poured_weight_ng` is a target of its own; without, it is how many bars the mold or
    the mass gives.
    """

    mold: str | None = None
    fill_height_nm: int | None = None
    fats_ng: int | None = None
    batter_ng: int | None = None
    volume_nl: int | None = None
    bars: int | None = None
    poured_weight_ng: int | None = None


def wish_from(asked: Asked) -> Wish:
    """The wish that plain values say. One query where a mold is named, else none.

    Raises ScalingRefusal with every fault: no target or more than one, a weight of bars without
    their number, a fill height without a mold, a number that is not above zero; NotFound for an
    unknown mold.
    """
    _check(asked)
    return Wish(
        target=_target(asked),
        mold=None if asked.mold is None else mold_by_code(asked.mold),
        fill_height_nm=asked.fill_height_nm,
        bars=asked.bars or 0,
    )


def _target(asked: Asked) -> Target | None:
    if asked.fats_ng is not None:
        return FatTarget(asked.fats_ng)
    if asked.batter_ng is not None:
        return BatterTarget(asked.batter_ng)
    if asked.volume_nl is not None:
        return VolumeTarget(asked.volume_nl)
    if asked.bars is not None and asked.poured_weight_ng is not None:
        return BarsTarget(asked.bars, asked.poured_weight_ng)
    return None


def _check(asked: Asked) -> None:
    faults = Faults()
    sizes = {
        "fats": asked.fats_ng,
        "batter": asked.batter_ng,
        "volume": asked.volume_nl,
        "poured_weight": asked.poured_weight_ng,
    }
    named = [name for name, size in sizes.items() if size is not None]
    if len(named) > 1:
        faults.add(
            "several-targets", f"Give one of {', '.join(named)}: each is a target.", named[1]
        )
    if not named and asked.mold is None:
        faults.add(
            "no-target",
            "Say what to scale to: a mold, a volume, fats, batter, or bars with their poured"
            " weight.",
            "target",
        )
    if asked.poured_weight_ng is not None and asked.bars is None:
        faults.add("bars-missing", "Say how many bars of that weight.", "bars")
    if asked.fill_height_nm is not None and asked.mold is None:
        faults.add("mold-missing", "A fill height needs the mold it is meant for.", "mold")
    for name, value in {
        **sizes,
        "bars": asked.bars,
        "fill_height": asked.fill_height_nm,
    }.items():
        if value is not None and value <= 0:
            faults.add("not-positive", "It must be above zero.", name)
    if asked.bars is not None and asked.bars > MOST_BARS:
        faults.add("too-many", f"At most {MOST_BARS} bars at once.", "bars")
    faults.raise_if_any(ScalingRefusal)
