"""What a batch was planned at against what it cost, from the books."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import Prefetch

from costing.domain.bar_cost.bar_cost import CostKind
from costing.domain.bar_cost.conversion import LABOR_EFFORTS, ConversionLine, Effort
from costing.domain.bar_cost.variances import Amount, Compared, Variances, variances
from costing.errors import BatchNotFinished, StandardNotKept
from costing.models.bar_cost.conversion import Conversion, StandardCost, StandardMaterial
from costing.queries.bar_cost.batches import CURED, kept_conversion, too_low_note
from costing.queries.bar_cost.not_known import lots_not_known
from inventory.queries.stock.documents import Take
from recipes.queries.bench.batches import BatchTakes, batch_by_code, takes_of
from recipes.queries.cure.cure import cost_of_ends, cut_record_of
from studio.foundation.hints import Money

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material
    from recipes.models.bench.batches import Batch

NO_PRICE = "No price was known when it was planned: the price that was paid stands in."
NOT_KNOWN = "What it cost, or was to cost, is not known, so neither is the difference."

_NAMES: Mapping[Effort, tuple[str, str]] = {
    Effort.MIX: ("Labor, mixing", "min"),
    Effort.CUT: ("Labor, cutting", "min"),
    Effort.WRAP: ("Labor, wrapping", "min"),
    Effort.LABOR: ("Labor", "min"),
    Effort.BATCH: ("Overhead by the batch", "batch"),
    Effort.LABOR_HOUR: ("Overhead by the labor hour", "min"),
    Effort.RACK: ("Cure rack", "day"),
    Effort.ENERGY: ("Energy", "Wh"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchVariances:
    """The variances of a cured batch; `abnormal_loss` of the actual cost was an expense.

    `planned_for` is the day whose prices and rates the plan was costed at.
    """

    code: str
    planned_for: date
    cured_on: date | None
    found: Variances
    abnormal_loss: Money
    notes: tuple[str, ...]


def variances_of(code: str) -> BatchVariances:
    """The variances of a batch; what is not known of its cost is None. At most eleven queries.

    Where the cost of some blend is not known, one more for each level of what was made of it.

    Raises NotFound, BatchNotFinished before the cure and for a blend, StandardNotKept for a batch
    that was planned before standard costs were kept.
    """
    batch = batch_by_code(code)
    standard = _standard_of(batch)
    kept = Conversion.objects.prefetch_related("efforts").filter(batch_id=batch.pk).first()
    made = kept_conversion(kept).lines if kept is not None else ()
    takes = takes_of(batch)
    lacking = lots_not_known().lots
    compared = [
        *_materials(standard, takes, lacking),
        *_efforts(_planned_efforts(standard), made),
        *_recovered(batch),
    ]
    found = variances(compared, planned_bars=standard.bars, good_bars=batch.bars_good or 0)
    record = cut_record_of(batch)
    loss = (record.loss if record is not None else 0) + (kept.expensed if kept else 0)
    unpriced = [each.name for each in found.inputs if not each.priced]
    unknown = [each for each in found.inputs if each.total is None]
    return BatchVariances(
        code=batch.code,
        planned_for=standard.on,
        cured_on=batch.cured_on,
        found=found,
        abnormal_loss=loss,
        notes=(
            *(f"{name}: {NO_PRICE}" for name in unpriced),
            *(f"{each.name}: {NOT_KNOWN}" for each in unknown),
            *too_low_note(take.material_name for take in takes.soap if take.lot_id in lacking),
        ),
    )


def _standard_of(batch: "Batch") -> StandardCost:
    if batch.state != CURED or not batch.bars_good:
        raise BatchNotFinished(
            f"Batch {batch.code} is {batch.state} or made no bars: its cost is whole once its bars "
            "are released.",
            field="batch",
            details={"state": str(batch.state)},
        )
    materials = StandardMaterial.objects.select_related("material")
    kept = StandardCost.objects.prefetch_related(Prefetch("materials", materials), "efforts")
    standard = kept.filter(batch_id=batch.pk).first()
    if standard is None or not standard.bars:
        raise StandardNotKept(
            f"No standard cost was kept of batch {batch.code}: it was planned before they were.",
            field="batch",
        )
    return standard


def _materials(
    standard: StandardCost, takes: BatchTakes, lacking: Collection[int]
) -> list[Compared]:
    actual = {
        **_summed(takes.soap, lacking, packaging=False),
        **_summed(takes.packaging, lacking, packaging=True),
    }
    names: dict[int, tuple[str, str, str]] = {
        take.material_id: (take.material_code, take.material_name, take.unit)
        for take in (*takes.soap, *takes.packaging)
    }
    planned: dict[tuple[int, bool], Amount] = {}
    for row in standard.materials.all():
        planned[row.material_id, row.packaging] = Amount(quantity=row.quantity, cost=row.cost)
        names.setdefault(row.material_id, _named(row.material))
    return [
        Compared(
            kind=CostKind.PACKAGING if packaging else CostKind.MATERIAL,
            code=names[pk][0],
            name=names[pk][1],
            unit=names[pk][2],
            planned=planned.get((pk, packaging), Amount()),
            actual=actual.get((pk, packaging), Amount()),
        )
        for pk, packaging in dict.fromkeys([*planned, *actual])
    ]


def _summed(
    takes: Iterable[Take], lacking: Collection[int], *, packaging: bool
) -> dict[tuple[int, bool], Amount]:
    """What was taken of each material; the cost of a lot that lacks labor is not known."""
    sums: dict[tuple[int, bool], Amount] = {}
    for take in takes:
        key = (take.material_id, packaging)
        before = sums.get(key, Amount())
        known = before.cost is not None and take.lot_id not in lacking
        sums[key] = Amount(
            quantity=(before.quantity or 0) + take.amount,
            cost=(before.cost or 0) + take.cost if known else None,
        )
    return sums


def _named(material: "Material") -> tuple[str, str, str]:
    return material.code, material.name, material.stock_unit


def _planned_efforts(standard: StandardCost) -> list[ConversionLine]:
    return [
        ConversionLine(
            effort=Effort(row.effort), quantity=row.quantity, rate=row.rate, cost=row.cost
        )
        for row in standard.efforts.all()
    ]


def _efforts(planned: Iterable[ConversionLine], actual: Iterable[ConversionLine]) -> list[Compared]:
    """Labor and overhead; labor is one where the plan does not tell tasks apart."""
    before, after = _by_effort(planned), _by_effort(actual)
    if not any(effort in before for effort in (Effort.MIX, Effort.CUT, Effort.WRAP)):
        after = _together(after)
    return [
        Compared(
            kind=CostKind.LABOR if effort in LABOR_EFFORTS else CostKind.OVERHEAD,
            code=effort.value.replace("_", "-"),
            name=_NAMES[effort][0],
            unit=_NAMES[effort][1],
            planned=before.get(effort, Amount()),
            actual=after.get(effort, Amount()),
        )
        for effort in Effort
        if effort in before or effort in after
    ]


def _by_effort(lines: Iterable[ConversionLine]) -> dict[Effort, Amount]:
    return {line.effort: Amount(quantity=line.quantity, cost=line.cost) for line in lines}


def _together(amounts: Mapping[Effort, Amount]) -> dict[Effort, Amount]:
    labor = [amount for effort, amount in amounts.items() if effort in LABOR_EFFORTS]
    rest = {effort: amount for effort, amount in amounts.items() if effort not in LABOR_EFFORTS}
    costs = [each.cost for each in labor]
    known = [cost for cost in costs if cost is not None]
    total = Amount(
        quantity=None
        if any(each.quantity is None for each in labor)
        else sum(each.quantity or 0 for each in labor),
        cost=sum(known) if len(known) == len(costs) else None,
    )
    return {Effort.LABOR: total, **rest}


def _recovered(batch: "Batch") -> list[Compared]:
    """Ends that went into stock take their part of the cost along."""
    cost = cost_of_ends(batch)
    record = cut_record_of(batch)
    if not cost or record is None:
        return []
    return [
        Compared(
            kind=CostKind.RECOVERED,
            code="ends",
            name="Ends in stock",
            unit="g",
            planned=Amount(),
            actual=Amount(quantity=record.ends_weight or 0, cost=-cost),
        )
    ]
