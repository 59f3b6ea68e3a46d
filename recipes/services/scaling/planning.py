"""A plan kept as a batch: its version frozen, and the shelf told what it will need."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.services.buying.requirements import expect, require
from recipes.domain.formulas.scaled import written_target
from recipes.domain.levels.explosion import days_after
from recipes.models.bench.batches import Batch, BatchLine
from recipes.models.formulas.formulas import FormulaVersion
from recipes.queries.bench.batches import batch_needs
from recipes.queries.scaling.plans import Plan, PlanLine, Wish, make_plan
from recipes.services.events import batch_planned
from studio.work.numbering import next_code

if TYPE_CHECKING:
    from django.contrib.auth.models import User


__all__ = ["Plan", "PlanLine", "Wish", "make_plan", "plan_batch"]

Part = BatchLine.Part


@transaction.atomic
def plan_batch(
    plan: Plan,
    *,
    planned_on: date,
    code: str = "",
    note: str = "",
    planned_for: Batch | None = None,
    by: "User | None" = None,
) -> Batch:
    """Keep a plan as a batch, freeze its version, and tell the shelf what it needs by then.

    The shelf also hears what a blend will make, and when it is ready. `planned_for` is the batch
    for whose sake it is made.
    """
    version = _frozen(plan.loaded.version.pk)
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
    if plan.blend is not None:
        makes = {plan.loaded.version.formula.product_id: plan.output_ng}
        ready_on = days_after(planned_on, version.ready_days)
        expect(makes, holder=batch.holder, due_on=ready_on)
    batch_planned.send(sender=Batch, batch=batch, plan=plan, by=by)
    return batch


def _frozen(pk: int) -> FormulaVersion:
    """The version, frozen from its first batch on."""
    version = FormulaVersion.objects.select_for_update().get(pk=pk)
    if version.frozen_at is None:
        version.frozen_at = timezone.now()
        version.save(update_fields=["frozen_at"])
    return version


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
