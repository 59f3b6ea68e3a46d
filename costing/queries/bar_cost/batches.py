"""What a batch that was really made cost, and each good bar of it.

The books are the source: what the ledger says was taken, at the cost of the very lots, and the
labor and overhead as they were put on the bars. While soap cures, packaging and labor are not in
the books yet; they are told as planned, and the answer is marked provisional.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING

from django.db.models import prefetch_related_objects

from costing.domain.bar_cost.bar_cost import (
    BarCost,
    BatchCost,
    CostKind,
    CostLine,
    added_up,
    bar_cost,
)
from costing.domain.bar_cost.conversion import (
    ConversionCost,
    ConversionLine,
    Effort,
    abnormal_conversion,
    conversion_from,
    conversion_of,
)
from costing.errors import BatchNotMade
from costing.models.bar_cost.conversion import Conversion
from costing.queries.bar_cost.not_known import lots_not_known
from costing.queries.bar_cost.standards import standards_of_day
from costing.queries.rates.rates import missing_rates_note, rates_of_day
from inventory.queries.stock.documents import Take, held_for
from recipes.queries.bench.batches import batch_by_code, packing_needs, takes_of
from recipes.queries.cure.cure import CuredWeight, cost_of_ends, cured_bar_weight, cut_record_of
from studio.foundation.money import share
from studio.foundation.units.registry import NG_PER_G
from studio.foundation.units.writing import format_amount

if TYPE_CHECKING:
    from recipes.models.bench.batches import Batch

CURED, CUT = "cured", "cut"
NO_GOOD_BAR = "No bar was good: the poured soap was written off, and what it cost is a loss."
NOT_CAPITALIZED = "Labor and overhead of this batch are not known: none were put on what it made."
#: Of what was made here while some rate was missing.
TOO_LOW = "Labor or overhead is not known yet, so the cost of these is too low: {names}."


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchCosting:
    """The cost of a made batch, line by line, and of one good bar of it.

    `bars` are good bars (planned ones before the cut), `bar_weight` what one weighs when cured;
    `bar` is None where there are none: for a blend, or when all were rejected. `provisional` is
    true until the bars are cured. What is not known is marked in `cost` and `bar`; `notes` say in
    words what is missing or only expected.
    """

    code: str
    state: str
    on: date
    cost: BatchCost
    bars: int
    rejects: int
    bar: BarCost | None
    bar_weight: CuredWeight | None
    provisional: bool
    notes: tuple[str, ...]

    @property
    def per_gram(self) -> Fraction | None:
        """The exact cost of a gram of a cured bar; None without a bar or its weight, or unknown."""
        if (
            self.bar is None
            or not self.bar.known
            or self.bar_weight is None
            or not self.bar_weight.weight
        ):
            return None
        return self.bar.exact / self.bar_weight.weight * NG_PER_G


def cost_of_batch(code: str) -> BatchCosting:
    """The cost of a poured, cut or cured batch. At most twelve queries, however many lines.

    Where the cost of some blend is not known, one more for each level of what was made of it.

    Raises NotFound, BatchNotMade for a batch that is not poured.
    """
    batch = batch_by_code(code)
    if batch.poured_on is None:
        raise BatchNotMade(
            f"Batch {batch.code} is {batch.state}: nothing was used for it yet. Ask for the cost "
            "of its recipe at its size instead.",
            field="batch",
            details={"state": str(batch.state)},
        )
    is_cured = batch.state == CURED
    takes = takes_of(batch)
    packaging, notes = (
        ([_line(take, CostKind.PACKAGING) for take in takes.packaging], [])
        if is_cured
        else _expected_packaging(batch)
    )
    conversion, expensed, told = _conversion(batch, is_cured=is_cured, on=batch.poured_on)
    lacking = lots_not_known().lots
    soap = [_line(take, CostKind.MATERIAL, lacking) for take in takes.soap]
    given = [*soap, *packaging]
    told = [*told, *too_low_note(line.name for line in soap if not line.known)]
    cost = added_up(given, conversion, recovered=cost_of_ends(batch))
    record = cut_record_of(batch)
    loss = expensed + (record.loss if record is not None else 0)
    return _told(batch, cost, loss, [*notes, *told], on=batch.poured_on)


def too_low_note(names: Iterable[str]) -> list[str]:
    """In words, which materials that were made here cost more than is known; empty for none."""
    unknown = dict.fromkeys(names)
    return [TOO_LOW.format(names=", ".join(unknown))] if unknown else []


def _told(
    batch: "Batch", cost: BatchCost, loss: int, notes: Iterable[str], *, on: date
) -> BatchCosting:
    is_lost = batch.state == CUT and not batch.bars_good
    bars = batch.bars_planned if batch.bars_good is None else batch.bars_good
    rejects = batch.bars_rejected or 0
    abnormal = batch.bars_rejected_abnormal
    return BatchCosting(
        code=batch.code,
        state=str(batch.state),
        on=on,
        cost=cost,
        bars=bars,
        rejects=rejects,
        bar=bar_cost(
            cost,
            good_bars=bars,
            normal_rejects=rejects - abnormal,
            abnormal_rejects=abnormal,
            abnormal_loss=loss,
        )
        if bars
        else None,
        bar_weight=cured_bar_weight(batch) if bars else None,
        provisional=batch.state != CURED and not is_lost,
        notes=(*notes, NO_GOOD_BAR) if is_lost else tuple(notes),
    )


def _line(take: Take, kind: CostKind, lacking: Collection[int] = ()) -> CostLine:
    return CostLine(
        kind=kind,
        code=take.material_code,
        name=take.material_name,
        cost=take.cost,
        quantity=take.amount,
        unit=take.unit,
        origin=take.lot_code,
        known=take.lot_id not in lacking,
    )


def expensed_of(batch: "Batch", cost: ConversionCost) -> int:
    """What of a batch's labor and overhead its unusual rejects took. No query."""
    bars = (batch.bars_good or 0) + (batch.bars_rejected or 0)
    return abnormal_conversion(cost, abnormal=batch.bars_rejected_abnormal, bars=bars)


def kept_lines(kept: Conversion) -> list[ConversionLine]:
    """What a conversion keeps, effort by effort. No query where they are prefetched."""
    return [
        ConversionLine(
            effort=Effort(row.effort), quantity=row.quantity, rate=row.rate, cost=row.cost
        )
        for row in kept.efforts.all()
    ]


def kept_conversion(kept: Conversion) -> ConversionCost:
    """The conversion as it was put into the books. No query where its efforts are prefetched."""
    if lines := kept_lines(kept):
        return conversion_from(lines)
    return ConversionCost(minutes=kept.minutes, labor=kept.labor, overhead=kept.overhead)


def _conversion(
    batch: "Batch", *, is_cured: bool, on: date
) -> tuple[ConversionCost, int, Sequence[str]]:
    """Labor and overhead as they are in the books, or as they are expected; and the expense."""
    kept = Conversion.objects.filter(batch_id=batch.pk).prefetch_related("efforts").first()
    if kept is not None:
        found = kept_conversion(kept)
        missing = missing_rates_note(found.missed, on=on, untold=found.untold)
        told = [missing, *kept.note.splitlines()]
        return found, kept.expensed, [note for note in told if note]
    if is_cured:
        unknown = [
            ConversionLine(effort=effort, quantity=None, rate=None, cost=None)
            for effort in (Effort.LABOR, Effort.BATCH, Effort.LABOR_HOUR)
        ]
        return conversion_from(unknown), 0, [NOT_CAPITALIZED]
    rates = rates_of_day(on).rates
    standards = standards_of_day([batch.version.formula_id], on=on)
    bars = batch.bars_planned if batch.bars_good is None else batch.bars_good
    cost = conversion_of(standards.expected(batch, bars=bars), rates)
    missing = missing_rates_note(cost.missed, on=on, untold=cost.untold)
    return cost, expensed_of(batch, cost), [missing] if missing else []


def _expected_packaging(batch: "Batch") -> tuple[list[CostLine], list[str]]:
    """The packaging that the good bars will need, from the lots that are held for it."""
    rows = [row for row in batch.lines.all() if row.is_packing]
    if not rows or batch.bars_good == 0:
        return [], []
    if batch.state == CUT:
        prefetch_related_objects(rows, "formula_line")
        by_row = packing_needs(batch, rows)
    else:
        by_row = {row.position: row.planned for row in rows}
    needs: dict[int, int] = {}
    for row in rows:
        needs[row.material_id] = needs.get(row.material_id, 0) + by_row[row.position]
    held = held_for(batch.reservation_id) if batch.reservation_id else []
    lines, left = _first_of(held, needs)
    materials = {row.material_id: row.material for row in rows}
    lines += [
        CostLine(
            kind=CostKind.PACKAGING,
            code=materials[pk].code,
            name=materials[pk].name,
            cost=0,
            quantity=amount,
            unit=materials[pk].stock_unit,
            known=False,
        )
        for pk, amount in left.items()
    ]
    notes = [
        f"{materials[pk].name}: {format_amount(amount, materials[pk].stock_unit)} "
        f"{materials[pk].stock_unit} are not reserved, so their cost is not known yet."
        for pk, amount in left.items()
    ]
    return lines, notes


def _first_of(
    held: Iterable[Take], needs: Mapping[int, int]
) -> tuple[list[CostLine], dict[int, int]]:
    """The needs met from what is held, lot by lot in its order, and what is left to meet."""
    left = dict(needs)
    lines: list[CostLine] = []
    for take in held:
        amount = min(left.get(take.material_id, 0), take.amount)
        if amount:
            left[take.material_id] -= amount
            cost = share(take.cost, amount, take.amount)
            lines.append(
                CostLine(
                    kind=CostKind.PACKAGING,
                    code=take.material_code,
                    name=take.material_name,
                    cost=cost,
                    quantity=amount,
                    unit=take.unit,
                    origin=take.lot_code,
                )
            )
    return lines, {pk: amount for pk, amount in left.items() if amount}
