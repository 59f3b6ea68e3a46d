"""A batch at the bench: what it holds and still needs of the shelf, and the sheet to weigh by."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.utils import timezone

from inventory.queries import takes_for
from recipes.domain.cautions import Caution, cautions_for
from recipes.domain.formula import Stage
from recipes.domain.lye_steps import LyeToMix, lye_steps
from recipes.domain.safety import SafetyCheck, evaluate
from recipes.models import Batch, BatchLine, BatchState
from recipes.queries.batches import batch_by_code, batch_needs
from recipes.services.remaking import deal, lot_values, scaled_from
from recipes.services.shelf import ShelfLine, check_shelf

if TYPE_CHECKING:
    from inventory.models import Lot, Material

Part = BatchLine.Part
Held = Mapping[int, Sequence[tuple["Lot", int]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchShelfLine:
    """One material that a batch still needs, in stock units.

    `held` is reserved for the batch; `shelf` says what covers the rest.
    """

    material: "Material"
    needed: int
    held: int
    shelf: ShelfLine


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchShelf:
    """The shelf check of a batch for a day."""

    on: date
    lines: tuple[BatchShelfLine, ...]

    @property
    def covered(self) -> bool:
        """Whether what is held and what is open cover the whole batch."""
        return not any(line.shelf.short for line in self.lines)


@dataclass(frozen=True, slots=True)
class LotAmount:
    """So much out of one lot, in stock units."""

    lot: str
    amount: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """One thing to weigh or count, with the lots to take it from; `short` has no lot."""

    row: BatchLine
    amount: int
    lots: tuple[LotAmount, ...]
    short: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The batch sheet: what to weigh by stage in bench order, the lye, and the cautions.

    `safety` holds the figures with the held lots' own values; None unless the batch is reserved
    soap.
    """

    batch: Batch
    on: date
    stages: tuple[tuple[Stage, tuple[SheetLine, ...]], ...]
    lye: LyeToMix
    steps: tuple[str, ...]
    safety: SafetyCheck | None
    cautions: tuple[Caution, ...]


def shelf_of(code: str) -> BatchShelf:
    """Whether the shelf covers what a batch still needs. At most nine queries. Raises NotFound."""
    batch = batch_by_code(code)
    return _shelf(batch, list(batch.lines.all()), _held(batch))


def sheet_of(code: str) -> Sheet:
    """The sheet to weigh a batch by, with lots held, taken or next in line. Raises NotFound.

    A fixed number of queries. The lots of an unreserved batch are a preview, and not held.
    """
    batch = batch_by_code(code)
    rows = list(
        BatchLine.objects.select_related("material", "formula_line")
        .filter(batch=batch)
        .order_by("position")
    )
    held = _held(batch)
    shelf = _shelf(batch, rows, held)
    lye = _lye(batch, rows)
    return Sheet(
        batch=batch,
        on=shelf.on,
        stages=_stages(rows, _lots(batch, held, shelf)),
        lye=lye,
        steps=lye_steps(lye) if lye.naoh_ng or lye.koh_ng or lye.masterbatch_ng else (),
        safety=_safety(batch, rows, held),
        cautions=cautions_of(batch),
    )


def batch_cautions(
    alkalis: Iterable["Material"], *, soap: bool, stored: bool
) -> tuple[Caution, ...]:
    """The cautions of what is made: all soap, and each blend with alkali in it."""
    makes_lye = not soap and any(material.alkali for material in alkalis)
    if soap or makes_lye:
        return cautions_for(masterbatch=stored or makes_lye)
    return ()


def cautions_of(batch: Batch) -> tuple[Caution, ...]:
    """The cautions of a batch whose lines and materials are loaded. No query."""
    rows = list(batch.lines.all())
    return batch_cautions(
        [row.material for row in rows],
        soap=batch.version.formula.batter_id is not None,
        stored=any(row.part == Part.MASTERBATCH for row in rows),
    )


def _held(batch: Batch) -> Held:
    held: dict[int, list[tuple[Lot, int]]] = defaultdict(list)
    if batch.reservation is not None:
        lines = batch.reservation.lines.filter(remaining__gt=0).select_related("lot")
        for line in lines.order_by("id"):
            held[line.lot.material_id].append((line.lot, line.remaining))
    return held


def _shelf(batch: Batch, rows: Sequence[BatchLine], held: Held) -> BatchShelf:
    on = max(batch.planned_on, timezone.localdate())
    needs = batch_needs(_still_needed(batch, rows))
    materials = {row.material_id: row.material for row in rows}
    here = {pk: sum(amount for _, amount in held.get(pk, ())) for pk in needs}
    missing = {pk: max(need - here[pk], 0) for pk, need in needs.items()}
    lines = tuple(
        BatchShelfLine(
            material=line.material,
            needed=needs[line.material.pk],
            held=here[line.material.pk],
            shelf=line,
        )
        for line in check_shelf(missing, materials, on=on)
    )
    return BatchShelf(on=on, lines=lines)


def _still_needed(batch: Batch, rows: Sequence[BatchLine]) -> Sequence[BatchLine]:
    if batch.state in (BatchState.PLANNED, BatchState.RESERVED):
        return rows
    if batch.state in (BatchState.POURED, BatchState.CUT):
        return [row for row in rows if row.stage == Stage.PACK.value]
    return ()


def _lots(batch: Batch, held: Held, shelf: BatchShelf) -> dict[int, list[tuple[str, int]]]:
    """By material, what the rows are dealt: lots taken already, lots held, lots next in line."""
    lots: dict[int, list[tuple[str, int]]] = defaultdict(list)
    if batch.poured_on is not None:
        for take in takes_for(batch.holder):
            lots[take.material_id].append((take.lot_code, take.amount))
    for pk, some in held.items():
        lots[pk] += [(lot.code, amount) for lot, amount in some]
    for line in shelf.lines:
        lots[line.material.pk] += [(pick.lot.code, pick.amount) for pick in line.shelf.picks]
    return lots


def _stages(
    rows: Sequence[BatchLine], lots: Mapping[int, list[tuple[str, int]]]
) -> tuple[tuple[Stage, tuple[SheetLine, ...]], ...]:
    by_stage: dict[Stage, list[SheetLine]] = defaultdict(list)
    for row in rows:
        amount = row.planned if row.actual is None else row.actual
        dealt = deal(lots.get(row.material_id, []), amount)
        found = tuple(LotAmount(lot, part) for lot, part in dealt)
        by_stage[Stage(row.stage)].append(
            SheetLine(
                row=row, amount=amount, lots=found, short=amount - sum(f.amount for f in found)
            )
        )
    return tuple((stage, tuple(by_stage[stage])) for stage in Stage if stage in by_stage)


def _lye(batch: Batch, rows: Sequence[BatchLine]) -> LyeToMix:
    parts = {row.part: row.planned if row.actual is None else row.actual for row in rows}
    return LyeToMix(
        naoh_ng=parts.get(Part.NAOH, 0),
        koh_ng=parts.get(Part.KOH, 0),
        masterbatch_ng=parts.get(Part.MASTERBATCH, 0),
        water_ng=parts.get(Part.WATER, 0),
        liquids=[
            row.material.name
            for row in rows
            if row.part == Part.LINE and row.stage == Stage.LYE.value and row.material.water_share
        ],
        pour_temperature_c=batch.version.pour_temperature_c,
    )


def _safety(batch: Batch, rows: Sequence[BatchLine], held: Held) -> SafetyCheck | None:
    if batch.state != BatchState.RESERVED or not batch.fats or not held:
        return None
    soap = [row for row in rows if row.stage != Stage.PACK.value]
    takes = [take for some in held.values() for take in some]
    values = lot_values(soap, takes, {row.position: row.planned for row in soap})
    return evaluate(scaled_from(batch, soap), values)
