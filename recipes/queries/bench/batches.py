"""Batches: their rows, what they need, and what they really took."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from inventory.queries.stock.documents import Take, takes_for
from recipes.domain.formulas.formula import Basis, Stage
from recipes.domain.weighing import enough_whole
from recipes.models.bench.batches import Batch, BatchLine, BatchState
from studio.foundation.errors import NotFound


@dataclass(frozen=True, slots=True)
class BatchTakes:
    """What a batch took from lots, apart for the soap itself and for its packaging."""

    soap: tuple[Take, ...]
    packaging: tuple[Take, ...]


def batch_by_code(code: str) -> Batch:
    """A batch with its version, mold, lots and lines. Two queries. Raises NotFound."""
    found = batches_by_code([code])
    if code not in found:
        raise NotFound(f"There is no batch {code}.", field="batch")
    return found[code]


def batches_by_code(codes: Iterable[str]) -> dict[str, Batch]:
    """These batches by their codes, each with the same; those that are there. Two queries."""
    rows = (
        Batch.objects.select_related(
            "version__formula__product",
            "mold",
            "reservation",
            "planned_for",
            "poured_lot",
            "bar_lot",
            "cut_record__ends_lot",
        )
        .prefetch_related("lines__material")
        .filter(code__in=list(codes))
    )
    return {batch.code: batch for batch in rows}


def batch_needs(lines: Iterable[BatchLine]) -> dict[int, int]:
    """What the lines ask of the stock: material id -> stock units. No query."""
    needs: dict[int, int] = defaultdict(int)
    for line in lines:
        needs[line.material_id] += line.planned
    return dict(needs)


def packing_needs(batch: Batch, rows: Sequence[BatchLine]) -> dict[int, int]:
    """What the good bars need of packaging: position of the row -> stock units."""
    good = batch.bars_good or 0
    return {row.position: _packing_need(batch, row, good) for row in rows}


def _packing_need(batch: Batch, row: BatchLine, good: int) -> int:
    written = row.formula_line
    if written is None or written.basis != Basis.PER_BAR.value:
        return row.planned
    if row.material.counted:
        return enough_whole(written.amount * good)
    return row.planned * good // (batch.bars_planned or good or 1)


def takes_of(batch: Batch) -> BatchTakes:
    """What a batch consumed, lot by lot with its cost, from the ledger. Two queries."""
    packing = set(
        BatchLine.objects.filter(batch=batch, stage=Stage.PACK.value).values_list(
            "material_id", flat=True
        )
    )
    poured = batch.poured_lot_id
    takes = [take for take in takes_for(batch.holder) if take.lot_id != poured]
    return BatchTakes(
        soap=tuple(take for take in takes if take.material_id not in packing),
        packaging=tuple(take for take in takes if take.material_id in packing),
    )


def batches_under_way() -> list[Batch]:
    """Batches that are planned, reserved, poured or curing, the oldest plan first. One query."""
    return list(
        Batch.objects.exclude(state__in=[BatchState.CURED, BatchState.CANCELLED])
        .select_related("version__formula", "mold")
        .order_by("planned_on", "id")
    )
