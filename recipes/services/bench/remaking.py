"""A stored batch as the rules see it again, with the values of the lots it takes from."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, TypeVar

from inventory.queries.stock.contents import contents_of_lots
from recipes.domain.chemistry.safety import LotTake, LotValues
from recipes.domain.formulas.formula import ZERO, Basis, Line, Stage
from recipes.domain.formulas.scaled import ScaledBatch, ScaledLine
from recipes.models.bench.batches import Batch, BatchLine
from recipes.queries.formulas.current import contents_of_materials
from recipes.queries.formulas.formulas import Made, formula_of, ingredient_of

if TYPE_CHECKING:
    from inventory.models.stock.lots import Lot

Part = BatchLine.Part
#: A lot, or whatever stands for it.
Source = TypeVar("Source")


def scaled_from(batch: Batch, rows: Sequence[BatchLine]) -> ScaledBatch:
    """The scaled soap that a batch's rows were written from.

    Positions count the rows of part `line` in their order. No query where the rows are loaded and
    none of their materials is made here; else two a level, since what has no lot yet is judged by
    its recipe.
    """
    stored = [row for row in rows if row.part == Part.LINE]
    made = contents_of_materials([row.material for row in rows])
    lines = tuple(_scaled_line(index, row, made) for index, row in enumerate(stored))
    alkali = {row.part: row.planned for row in rows if row.part != Part.LINE}
    formula = formula_of(batch.version, tuple(scaled.line for scaled in lines), made)
    return ScaledBatch(
        formula=formula,
        lines=lines,
        bars=batch.bars_planned,
        pour_temperature_c=batch.version.pour_temperature_c,
        fats_ng=batch.fats,
        naoh_ng=alkali.get(Part.NAOH, 0),
        koh_ng=alkali.get(Part.KOH, 0),
        masterbatch_ng=alkali.get(Part.MASTERBATCH, 0),
        extra_water_ng=alkali.get(Part.WATER, 0),
        counted_water_ng=0,
        water_ng=alkali.get(Part.WATER, 0),
        batter_ng=batch.batter,
        batter_volume_nl=0,
        density_g_ml=ZERO,
        finished_ng=0,
        superfat=batch.superfat or ZERO,
        worst_superfat=batch.superfat_worst or ZERO,
        extra_superfat=ZERO,
        lye_concentration=batch.lye_concentration or ZERO,
    )


def lot_values(
    rows: Sequence[BatchLine],
    takes: Iterable[tuple["Lot", int]],
    amounts: Mapping[int, int],
) -> LotValues:
    """What the batch takes, line by line, with what each lot consists of.

    `takes` are (lot, stock units); `amounts` says how much each row (by its position) uses, so
    that a material of several rows is dealt out to them in their order. No query where no lot was
    made here, else two.
    """
    shelf: dict[int, list[tuple[Lot, int]]] = defaultdict(list)
    for lot, amount in takes:
        shelf[lot.material_id].append((lot, amount))
    dealt = {row.position: deal(shelf[row.material_id], amounts[row.position]) for row in rows}
    return dealt_values(rows, dealt)


def dealt_values(
    rows: Sequence[BatchLine],
    dealt: Mapping[int, Sequence[tuple["Lot", int]]],
) -> LotValues:
    """The same, where it is known for each row (by its position) which lots it takes."""
    contents = contents_of_lots(
        (lot for takes in dealt.values() for lot, _ in takes),
        {row.material_id: row.material for row in rows},
    )
    lines: dict[int, Sequence[LotTake]] = {}
    lye: dict[str, Sequence[LotTake]] = {}
    for row in rows:
        takes = [
            LotTake(row.material.mass_of(amount), contents[lot.pk])
            for lot, amount in dealt[row.position]
        ]
        if row.part == Part.LINE:
            lines[len(lines)] = takes
        else:
            lye[row.part] = takes
    return LotValues(
        lines=lines,
        naoh=lye.get(Part.NAOH),
        koh=lye.get(Part.KOH),
        masterbatch=lye.get(Part.MASTERBATCH),
        water=lye.get(Part.WATER, ()),
    )


def _scaled_line(index: int, row: BatchLine, made: Made) -> ScaledLine:
    written = row.formula_line
    material = row.material
    line = Line(
        ingredient=ingredient_of(material, made),
        basis=Basis(written.basis) if written else Basis.FIXED,
        stage=Stage(row.stage),
        amount=written.amount if written else Decimal(row.planned),
        counts_as_water=bool(written and written.counts_as_water),
    )
    if material.counted:
        mass = material.mass_of(row.planned)
        return ScaledLine(index, line, mass, mass, row.planned)
    return ScaledLine(index, line, row.planned, row.planned)


def deal(shelf: list[tuple[Source, int]], amount: int) -> list[tuple[Source, int]]:
    """Take `amount` off the front of what there is of a material, lot by lot; `shelf` shrinks."""
    dealt: list[tuple[Source, int]] = []
    while amount and shelf:
        lot, there = shelf[0]
        part = min(there, amount)
        dealt.append((lot, part))
        amount -= part
        if part == there:
            shelf.pop(0)
        else:
            shelf[0] = (lot, there - part)
    return dealt
