"""What must be made first for a batch that is planned already: shown, and planned below it."""

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from recipes.domain.formulas.formula import Stage
from recipes.models.bench.batches import Batch, BatchLine, BatchState
from recipes.queries.bench.batches import batch_by_code
from recipes.queries.formulas.formulas import load_formula
from recipes.services.bench.batches import expect, lock_batch
from recipes.services.levels.explosion import ExplodedPlan, explode_plan
from recipes.services.levels.multilevel import PlannedTree
from recipes.services.scaling.planning import Plan, PlanLine, Wish, plan_batch

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def explode_batch(code: str) -> ExplodedPlan:
    """What a planned batch needs over all levels, beside its own requirement. Stores nothing.

    Batches that are planned for it already count as what they will make. Raises NotFound,
    ProductionCycle, ScalingRefusal, and BatchConflict unless it is planned.
    """
    batch = batch_by_code(code)
    return _exploded(batch, list(batch.lines.all()))


@transaction.atomic
def plan_below(code: str, *, by: "User | None" = None) -> PlannedTree:
    """Plan the batches that make what a planned batch is short of, over all levels.

    Done again, it plans what has come to be short since. Raises as `explode_batch` does.
    """
    batch, rows = lock_batch(code)
    exploded = _exploded(batch, rows)
    making = tuple(
        plan_batch(
            exploded.plans[proposal.need.material],
            planned_on=proposal.start_on,
            planned_for=batch,
            by=by,
        )
        for proposal in exploded.found.proposals
    )
    return PlannedTree(top=batch, making=making, exploded=exploded)


def _exploded(batch: Batch, rows: Sequence[BatchLine]) -> ExplodedPlan:
    expect(batch, BatchState.PLANNED, "completed with what is made for it")
    plan = _plan_of(batch, rows)
    return explode_plan(plan, on=_day_of(batch), without=batch.holder)


def _day_of(batch: Batch) -> date:
    return max(batch.planned_on, timezone.localdate())


def _plan_of(batch: Batch, rows: Sequence[BatchLine]) -> Plan:
    """The plan that a batch was made from, by the weights that it has now."""
    version = batch.version
    return Plan(
        loaded=load_formula(code=version.formula.code, number=version.number),
        wish=Wish(mold=batch.mold),
        lines=tuple(_line(row) for row in rows),
        bars=batch.bars_planned,
        bar_weight_ng=batch.batter // batch.bars_planned if batch.bars_planned else 0,
        output_ng=batch.batter,
    )


def _line(row: BatchLine) -> PlanLine:
    mass = row.material.mass_of(row.planned)
    return PlanLine(
        part=BatchLine.Part(row.part),
        material=row.material,
        stage=Stage(row.stage),
        amount=row.planned,
        mass_ng=mass,
        exact_ng=mass,
        position=row.position,
        portion=row.portion,
    )
