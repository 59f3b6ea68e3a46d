"""A stored batch as the rules see it again, with the values of the lots it takes from."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, TypeVar

from recipes.domain.chemistry.safety import AlkaliTake, LotTake, LotValues
from recipes.domain.formulas.formula import ZERO, Basis, Line, Stage
from recipes.domain.formulas.scaled import ScaledBatch, ScaledLine
from recipes.models.bench.batches import Batch, BatchLine
from recipes.queries.formulas.formulas import formula_of, ingredient_of

if TYPE_CHECKING:
    from inventory.models.stock.lots import Lot

Part = BatchLine.Part
#: A lot, or whatever stands for it.
Source = TypeVar("Source")


def scaled_from(batch: Batch, rows: Sequence[BatchLine]) -> ScaledBatch:
    """The scaled soap that a batch's rows were written from. No queries when rows are loaded.

    Positions count the rows of part `line` in their order.
    """
    stored = [row for row in rows if row.part == Part.LINE]
    lines = tuple(_scaled_line(index, row) for index, row in enumerate(stored))
    alkali = {row.part: row.planned for row in rows if row.part != Part.LINE}
    formula = formula_of(batch.version, tuple(scaled.line for scaled in lines))
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
    """What the batch takes, line by line, with each lot's certificate values.

    `takes` are (lot, stock units); `amounts` says how much each row (by its position) uses, so
    that a material of several rows is dealt out to them in their order.
    """
    shelf: dict[int, list[tuple[Lot, int]]] = defaultdict(list)
    for lot, amount in takes:
        shelf[lot.material_id].append((lot, amount))
    dealt = {row.position: deal(shelf[row.material_id], amounts[row.position]) for row in rows}
    return dealt_values(rows, dealt, amounts)


def dealt_values(
    rows: Sequence[BatchLine],
    dealt: Mapping[int, Sequence[tuple["Lot", int]]],
    amounts: Mapping[int, int],
) -> LotValues:
    """The same, where it is known for each row (by its position) which lots it takes."""
    lines: dict[int, Sequence[LotTake]] = {}
    alkali: dict[str, list[AlkaliTake]] = {}
    water, index = 0, 0
    for row in rows:
        takes = dealt[row.position]
        if row.part == Part.LINE:
            lines[index] = [_lot_take(row, lot, amount) for lot, amount in takes]
            index += 1
        elif row.part == Part.WATER:
            water += amounts[row.position]
        else:
            alkali[row.part] = [AlkaliTake(amount, lot.certificate.purity) for lot, amount in takes]
    return LotValues(
        lines=lines,
        naoh=alkali.get(Part.NAOH),
        koh=alkali.get(Part.KOH),
        masterbatch=alkali.get(Part.MASTERBATCH),
        water_ng=water,
    )


def _scaled_line(index: int, row: BatchLine) -> ScaledLine:
    written = row.formula_line
    material = row.material
    line = Line(
        ingredient=ingredient_of(material),
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


def _lot_take(row: BatchLine, lot: "Lot", amount: int) -> LotTake:
    certified = lot.certificate
    return LotTake(
        mass_ng=row.material.mass_of(amount),
        sv_mg_koh_g=certified.sv_mg_koh_g,
        ifra_category9_max_share=certified.ifra_category9_max,
    )
