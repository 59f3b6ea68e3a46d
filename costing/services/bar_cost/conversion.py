"""Labor and overhead become part of the cost of what a batch made (IAS 2 paragraphs 10 and 12)."""

from datetime import date
from typing import TYPE_CHECKING, Any

from django.db import transaction

from costing.domain.bar_cost.conversion import ConversionCost, conversion_of
from costing.errors import AlreadyCapitalized
from costing.models.bar_cost.conversion import (
    Conversion,
    ConversionEffort,
    StandardCost,
    StandardEffort,
    StandardMaterial,
)
from costing.queries.bar_cost.batches import expensed_of
from costing.queries.bar_cost.replacement import expected_costs
from costing.queries.bar_cost.standards import standards_of_day
from costing.queries.rates.rates import rates_of_day
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import CONVERSION, add_cost
from recipes.domain.formulas.formula import Stage
from recipes.queries.scaling.plans import Plan
from studio.foundation.doers import By

if TYPE_CHECKING:
    from inventory.models.stock.lots import Lot
    from recipes.models.bench.batches import Batch

#: IAS 2 paragraph 34: what is lost is an expense when it is lost; no lot is left to carry it.
_STORED = "It stood on the rack for {days} days more than its cure; to store it is no cost of it."
_NOTHING_LEFT = "Nothing is left of what was made, so labor and overhead are an expense."
#: The longest source that a row keeps; a blend may come from more offers than it names.
LONGEST_SOURCE = 40


@transaction.atomic
def capitalize(batch: "Batch", *, by: By = None) -> Conversion:
    """Put a finished batch's labor and overhead on the lot it made, once.

    Rates are those in force on the day of the pour. What an unusual loss of bars took of them is
    an expense: it is kept as such, and not put on the lot (IAS 2 paragraph 16(a)). For a task that
    nobody told the minutes of stands the standard, or the recipe. What has no rate, or takes nobody
    knows how long, is kept as not known, and entered once that is there
    (`costing.services.bar_cost.late_rates`). A blend is costed like soap: the lye or oil that took
    an hour to make brings that hour into the soap it goes into. Raises AlreadyCapitalized the
    second time, and when two writers try it at once.
    """
    lot, poured_on = batch.bar_lot, batch.poured_on
    if lot is None or poured_on is None:
        raise RuntimeError("only a batch that made something can be capitalized")
    found = rates_of_day(poured_on)
    standards = standards_of_day([batch.version.formula_id], on=poured_on)
    cost = conversion_of(standards.done(batch, until=batch.cured_on), found.rates)
    notes = (_stored_too_long(batch), standards.stand_in_note(batch))
    conversion, is_new = Conversion.objects.get_or_create(
        batch_id=batch.pk,
        defaults={
            "minutes": cost.minutes,
            "labor_rate": found.rates.labor_per_hour,
            "labor": cost.labor,
            "overhead": cost.overhead,
            "expensed": expensed_of(batch, cost),
            "note": "\n".join(note for note in notes if note),
            "by": by,
        },
    )
    if not is_new:
        raise AlreadyCapitalized(
            f"The labor and overhead of batch {batch.code} are in its cost already.", field="batch"
        )
    _keep(conversion, cost)
    if cost.at_least > conversion.expensed:
        origin = origin_of(batch, by, on=batch.cured_on)
        _enter(conversion, lot, cost.at_least - conversion.expensed, origin=origin)
    return conversion


def capitalize_finished(*, batch: "Batch", by: By, **_: Any) -> None:
    """Receiver of `recipes.services.events.batch_cured`: the same transaction finishes both."""
    capitalize(batch, by=by)


def _keep(conversion: Conversion, cost: ConversionCost) -> None:
    ConversionEffort.objects.bulk_create(
        ConversionEffort(
            conversion=conversion,
            effort=line.effort.value,
            quantity=line.quantity,
            rate=line.rate,
            cost=line.cost,
        )
        for line in cost.lines
    )


def _stored_too_long(batch: "Batch") -> str:
    ready, cured = batch.cure_ready_on, batch.cured_on
    stored = (cured - ready).days if ready and cured else 0
    return _STORED.format(days=stored) if stored > 0 else ""


def origin_of(batch: "Batch", by: By, *, on: date | None) -> Origin:
    """Of an entry of labor and overhead of that day, as the proof of the books knows it."""
    return Origin(reference=batch.holder, by=by, note=CONVERSION, on=on)


def _enter(conversion: Conversion, lot: "Lot", cost: int, *, origin: Origin) -> None:
    lot.refresh_from_db(fields=["on_hand"])
    if lot.on_hand:
        conversion.posting = add_cost(lot.pk, cost, origin=origin)
        lot.refresh_from_db(fields=["cost"])  # whoever called shows the lot as it now is
    else:
        conversion.note = "\n".join(part for part in (conversion.note, _NOTHING_LEFT) if part)
    conversion.save(update_fields=["posting", "note"])


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
