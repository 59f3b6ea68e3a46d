"""What costing needs of a plan, and how it becomes a recipe at its size."""

from collections.abc import Mapping
from dataclasses import dataclass

from costing.domain.bar_cost.conversion import Work
from costing.domain.bar_cost.packing import Packing
from costing.domain.bar_cost.recipe_cost import Sized
from costing.queries.bar_cost.replacement import taken_apart
from recipes.domain.formulas.formula import Stage
from recipes.queries.levels.explosion import Production
from recipes.queries.scaling.plans import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A soap at its size: its version's number, minutes and days of cure, bars, and what it needs
    by material id; `packed` are the materials among them that only pack its bars."""

    number: int
    minutes: int
    cure_days: int
    bars: int
    needs: Mapping[int, int]
    packed: frozenset[int]


def outline_of(plan: Plan) -> Outline:
    """The outline of a plan. No query."""
    version = plan.loaded.version
    soap = {line.material.pk for line in plan.lines if line.stage is not Stage.PACK}
    return Outline(
        number=version.number,
        minutes=version.minutes,
        cure_days=version.cure_days,
        bars=plan.bars,
        needs=plan.needs,
        packed=frozenset(plan.needs) - soap,
    )


def sized(
    outline: Outline,
    production: Production,
    *,
    work: Work,
    packing: Packing | None = None,
    batches: int = 1,
) -> Sized:
    """So many batches at once, their blends taken apart that are made here. No query.

    Raises ProductionCycle, ScalingRefusal.
    """
    needs = {pk: need * batches for pk, need in outline.needs.items() if need}
    apart = None
    if not production.makers.keys().isdisjoint(needs):
        apart = taken_apart(needs, production)
        needs = {pk: sum(tops.values()) for pk, tops in apart.bought.items()}
    return Sized(
        needs=needs,
        bars=outline.bars * batches,
        batches=batches,
        work=work,
        packed=outline.packed,
        makings=apart.makings if apart else (),
        packing=packing,
    )
