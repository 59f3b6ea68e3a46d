"""What a plan or a batch needs of the shelf, what it holds, and the cautions of its lye step."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.utils import timezone

from inventory.domain.stock.leaves import leaf_of
from inventory.domain.stock.picking import Pick
from inventory.queries.stock.candidates import candidates, plan_picks
from inventory.queries.stock.on_hand import available_by_material
from inventory.queries.stock.on_order import coverage_dates
from recipes.domain.bench.cautions import Caution, cautions_for, ready_for
from recipes.domain.formulas.formula import Stage
from recipes.models.bench.batches import Batch, BatchLine, BatchState, Weighing
from recipes.queries.bench.batches import batch_by_code, by_position, standing_weighings
from studio.foundation.hints import Stock

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material
    from inventory.models.stock.lots import Lot

Part = BatchLine.Part
Held = Mapping[int, Sequence[tuple["Lot", int]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfLine:
    """One material of a plan: stock units needed, available and short, and the lots to take.

    `covered_on` is the earliest day on which a placed order or a current offer would cover what is
    short; None when nothing is short or nobody offers it.
    """

    material: "Material"
    needed: Stock
    available: Stock
    picks: tuple[Pick, ...]
    covered_on: date | None

    @property
    def short(self) -> Stock:
        """What is missing, in stock units."""
        return max(self.needed - self.available, 0)


def check_shelf(
    needs: Mapping[int, int], materials: Mapping[int, "Material"], *, on: date
) -> list[ShelfLine]:
    """Whether released, unexpired and unreserved stock covers `needs`. At most four queries."""
    available = available_by_material(needs, on=on)
    wanted = {pk: need for pk, need in needs.items() if need > 0}
    plan = plan_picks(wanted, candidates(wanted, on=on), {}, on=on)
    short = {pk for pk, need in wanted.items() if available.get(pk, 0) < need}
    dates = coverage_dates(short) if short else {}
    return [
        ShelfLine(
            material=materials[pk],
            needed=need,
            available=available.get(pk, 0),
            picks=tuple(plan.picks.get(pk, ())),
            covered_on=dates.get(pk) if pk in short else None,
        )
        for pk, need in sorted(needs.items(), key=lambda item: materials[item[0]].code)
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchShelfLine:
    """One material that a batch still needs, in stock units.

    `held` is reserved for the batch; `shelf` says what covers the rest.
    """

    material: "Material"
    needed: Stock
    held: Stock
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


def shelf_of(code: str) -> BatchShelf:
    """Whether the shelf covers what a batch still needs. At most ten queries. Raises NotFound."""
    batch = batch_by_code(code)
    weighed = by_position(standing_weighings(batch.pk))
    return shelf_for(batch, list(batch.lines.all()), held_lots(batch), weighed)


def batch_cautions(
    alkalis: Iterable["Material"], *, soap: bool, stored: bool
) -> tuple[Caution, ...]:
    """The cautions of what is made: all soap, and each blend with alkali in it."""
    makes_lye = not soap and any(_holds_alkali(material) for material in alkalis)
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


def batch_rows(batch: Batch) -> list[BatchLine]:
    """The rows of a batch in bench order, with what the rules need of them. One query."""
    return list(
        BatchLine.objects.select_related("material", "formula_line")
        .filter(batch=batch)
        .order_by("position")
    )


def held_lots(batch: Batch) -> Held:
    """What a batch holds, by material id: lots with their amounts. One query."""
    held: dict[int, list[tuple[Lot, int]]] = defaultdict(list)
    if batch.reservation is not None:
        lines = batch.reservation.lines.filter(remaining__gt=0).select_related("lot")
        for line in lines.order_by("id"):
            held[line.lot.material_id].append((line.lot, line.remaining))
    return held


def shelf_for(
    batch: Batch,
    rows: Sequence[BatchLine],
    held: Held,
    weighed: Mapping[int, Sequence[Weighing]],
) -> BatchShelf:
    """The shelf check of a batch that is loaded; a weighed row needs what was weighed."""
    on = max(batch.planned_on, timezone.localdate())
    needs: dict[int, int] = defaultdict(int)
    for row in _still_needed(batch, rows):
        readings = weighed.get(row.position)
        needs[row.material_id] += (
            row.planned if readings is None else sum(one.amount for one in readings)
        )
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
        return [row for row in rows if row.is_packing]
    return ()


def is_lye_line(row: BatchLine) -> bool:
    """Whether a row, whose material is loaded, belongs to the lye step.

    All that goes into the lye does, its water too: whoever weighs it stands over lye. So does
    alkali and stored lye wherever a blend has it.
    """
    return row.stage == Stage.LYE.value or _holds_alkali(row.material)


def to_confirm(batch: Batch) -> tuple[Caution, ...]:
    """What is confirmed before the lye step of a batch opens; empty where it has none. No query."""
    rows = list(batch.lines.all())
    if not cautions_of(batch) or not any(is_lye_line(row) for row in rows):
        return ()
    stored = any(row.part == Part.MASTERBATCH or _is_stored(row) for row in rows)
    return ready_for(stored=stored)


def _is_stored(row: BatchLine) -> bool:
    return _holds_alkali(row.material) and row.material.kind == "intermediate"


def _holds_alkali(material: "Material") -> bool:
    """By what it is kept as, or by its names."""
    return bool(leaf_of(material).alkali)
