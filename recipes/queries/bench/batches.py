"""Batches: their rows and readings, what is due, what they need, and what they really took."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import F, Q, QuerySet, Window
from django.db.models.functions import RowNumber

from inventory.queries.stock.documents import Take, takes_for
from recipes.domain.formulas.formula import Basis, Stage
from recipes.domain.weighing import enough_whole
from recipes.models.bench.batches import Batch, BatchLine, BatchState, Weighing
from studio.foundation.errors import NotFound

#: Soap stays in its mold for a day at least (common practice, no source).
DAYS_IN_MOLD = timedelta(days=1)
UNDER_WAY = (BatchState.PLANNED, BatchState.RESERVED, BatchState.POURED, BatchState.CUT)


@dataclass(frozen=True, slots=True)
class BatchTakes:
    """What a batch took from lots, apart for the soap itself and for its packaging."""

    soap: tuple[Take, ...]
    packaging: tuple[Take, ...]


#: Who planned a batch, made it, and changed it last.
PEOPLE = ("by", "poured_by", "cured_by", "changed_by")


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
            "version__naoh",
            "version__koh",
            "version__masterbatch",
            "mold",
            "reservation",
            "planned_for",
            *PEOPLE,
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


def line_at(code: str, position: int) -> BatchLine:
    """A line of a batch with its material and version. One query. Raises NotFound."""
    row = (
        BatchLine.objects.select_related("material", "batch__version")
        .filter(batch__code=code, position=position)
        .first()
    )
    if row is None:
        raise NotFound(f"Batch {code} has no line {position}.", field="position")
    return row


def batches_listed() -> "QuerySet[Batch]":
    """Batches with what a list shows of them. One query, however long it is."""
    return Batch.objects.select_related("version__formula", "mold")


def due_by(on: date) -> Q:
    """Condition for batches of which the next step is due on a day."""
    before = Q(state__in=[BatchState.PLANNED, BatchState.RESERVED], planned_on__lte=on)
    in_mold = Q(state=BatchState.POURED, poured_on__lte=on - DAYS_IN_MOLD)
    return before | in_mold | Q(state=BatchState.CUT, cure_ready_on__lte=on)


def due_on(batch: Batch) -> date | None:
    """The day on which what comes next is due; None where nothing comes any more."""
    state = BatchState(batch.state)
    if state is BatchState.CUT:
        return batch.cure_ready_on
    if state is BatchState.POURED and batch.poured_on is not None:
        return batch.poured_on + DAYS_IN_MOLD
    return batch.planned_on if state in UNDER_WAY else None


def last_made(formula: str, *, last: int) -> list[Batch]:
    """The last cured batches of a formula (by code) with good bars, so many of each mold.

    The newest first, each with its version, mold and lot of bars. One query.
    """
    rank = Window(
        RowNumber(),
        partition_by=F("mold"),
        order_by=[F("poured_on").desc(), F("id").desc()],
    )
    return list(
        Batch.objects.filter(
            version__formula__code=formula, state=BatchState.CURED, bars_good__gt=0
        )
        .annotate(rank=rank)
        .filter(rank__lte=last)
        .select_related("version", "mold", "bar_lot")
        .order_by("mold__code", "-poured_on", "-id")
    )


def standing_weighings(batch_id: int) -> list[Weighing]:
    """The readings of a batch that were not set aside, each with its lot and line. One query."""
    return list(
        Weighing.objects.filter(line__batch=batch_id, set_aside_at__isnull=True)
        .select_related("lot", "line", "by")
        .order_by("id")
    )


def by_position(weighings: Iterable[Weighing]) -> Mapping[int, Sequence[Weighing]]:
    """The readings by the position of their line. No query."""
    found: dict[int, list[Weighing]] = defaultdict(list)
    for weighing in weighings:
        found[weighing.line.position].append(weighing)
    return dict(found)


def weighed_amounts(weighings: Iterable[Weighing]) -> dict[int, int]:
    """What each weighed line adds up to, in stock units, by position. No query."""
    return {
        position: sum(weighing.amount for weighing in some)
        for position, some in by_position(weighings).items()
    }
