"""The batch sheet: what to weigh, in bench order, from which lots, with the trade's cautions."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.queries import Take, held_for
from recipes.domain.cautions import Caution, cautions_for
from recipes.domain.formula import Stage
from recipes.models import Batch, BatchLine
from recipes.queries.batches import batch_by_code

Part = BatchLine.Part
ALKALI = frozenset({Part.NAOH, Part.KOH, Part.MASTERBATCH})


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPick:
    """An amount of one lot for a line, in the material's stock unit."""

    lot_code: str
    amount: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """One thing to weigh or count: `planned` (and `actual` once known) in stock units."""

    position: int
    part: str
    stage: Stage
    code: str
    name: str
    unit: str
    planned: int
    actual: int | None
    portion: str
    picks: tuple[SheetPick, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A batch on one page. `lines` are in the order in which they are weighed."""

    batch: Batch
    lines: tuple[SheetLine, ...]
    cautions: tuple[Caution, ...]
    pour_temperature_c: Decimal | None

    def of(self, stage: Stage) -> tuple[SheetLine, ...]:
        """The lines of one stage."""
        return tuple(line for line in self.lines if line.stage is stage)


def sheet_of(code: str) -> Sheet:
    """The sheet of a batch, with the lots it holds. Three queries. Raises NotFound."""
    batch = batch_by_code(code)
    rows = sorted(batch.lines.all(), key=lambda row: row.position)
    held = held_for(batch.reservation_id) if batch.reservation_id else []
    picks = _dealt(rows, held)
    lines = tuple(_line(row, picks[row.position]) for row in rows)
    parts = {row.part for row in rows}
    has_lye = bool(parts & ALKALI) or any(row.material.alkali for row in rows)
    is_soap = bool(batch.fats)
    return Sheet(
        batch=batch,
        lines=lines,
        cautions=cautions_for(masterbatch=Part.MASTERBATCH in parts) if has_lye else (),
        pour_temperature_c=batch.version.pour_temperature_c if is_soap else None,
    )


def _line(row: BatchLine, picks: Sequence[SheetPick]) -> SheetLine:
    return SheetLine(
        position=row.position,
        part=row.part,
        stage=Stage(row.stage),
        code=row.material.code,
        name=row.material.name,
        unit=row.material.stock_unit,
        planned=row.planned,
        actual=row.actual,
        portion=row.portion,
        picks=tuple(picks),
    )


def _dealt(rows: Sequence[BatchLine], held: Sequence[Take]) -> dict[int, list[SheetPick]]:
    """What is held of a material, dealt out to its rows in their order."""
    shelf: dict[int, list[tuple[str, int]]] = defaultdict(list)
    for take in held:
        shelf[take.material_id].append((take.lot_code, take.amount))
    dealt: dict[int, list[SheetPick]] = {}
    for row in rows:
        dealt[row.position] = []
        left, lots = row.planned, shelf[row.material_id]
        while left and lots:
            code, there = lots.pop(0)
            part = min(left, there)
            dealt[row.position].append(SheetPick(lot_code=code, amount=part))
            left -= part
            if part < there:
                lots.insert(0, (code, there - part))
    return dealt
