"""The standard cost of a batch: kept when it is planned, to hold what was made against it."""

from typing import TYPE_CHECKING, Any

from django.db import transaction

from costing.domain.bar_cost.conversion import conversion_of
from costing.models.bar_cost.standards import StandardCost, StandardEffort, StandardMaterial
from costing.queries.bar_cost.standard_prices import expected_costs
from costing.queries.bar_cost.standards import standards_of_day
from costing.queries.rates.rates import rates_of_day
from recipes.domain.formulas.formula import Stage
from recipes.services.scaling.planning import Plan

if TYPE_CHECKING:
    from recipes.models.bench.batches import Batch

#: The longest source that a row keeps; a blend may come from more offers than it names.
LONGEST_SOURCE = 40


@transaction.atomic
def keep_standard(batch: "Batch", plan: Plan) -> StandardCost:
    """Keep what a batch is planned to cost: amounts and prices, labor and overhead, as of its day.

    Prices and rates are those of the day it is planned for, as they are known now. Prices that
    nobody knows stay empty.
    """
    on = batch.planned_on
    rates = rates_of_day(on).rates
    expected = expected_costs(plan, on=on, rates=rates)
    standards = standards_of_day([batch.version.formula_id], on=on)
    conversion = conversion_of(standards.work_of_plan(plan), rates)
    kept = StandardCost.objects.create(batch_id=batch.pk, on=on, bars=plan.bars)
    packing = {line.material.pk for line in plan.lines if line.stage is Stage.PACK}
    StandardMaterial.objects.bulk_create(
        StandardMaterial(
            standard=kept,
            material_id=pk,
            packaging=pk in packing,
            quantity=need,
            cost=expected[pk].cost,
            source=expected[pk].source[:LONGEST_SOURCE],
        )
        for pk, need in plan.needs.items()
    )
    StandardEffort.objects.bulk_create(
        StandardEffort(
            standard=kept,
            effort=line.effort.value,
            quantity=line.quantity,
            rate=line.rate,
            cost=line.cost,
        )
        for line in conversion.lines
    )
    return kept


def keep_planned(*, batch: "Batch", plan: Plan, **_: Any) -> None:
    """Receiver of `recipes.services.events.batch_planned`: the same transaction keeps both."""
    keep_standard(batch, plan)
