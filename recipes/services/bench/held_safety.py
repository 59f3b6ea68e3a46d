"""The safety of a batch with the lots it holds, while some of what it needs may not be there."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.queries.stock.certificates import unusual_of_lots
from recipes.domain.chemistry.safety import LotTake, LotValues, SafetyCheck, recheck
from recipes.domain.formulas.formula import Notice
from recipes.models.bench.batches import Batch, BatchLine
from recipes.queries.formulas.slots import refuse_other_alkali
from recipes.services.bench.remaking import lot_values, scaled_from
from recipes.services.chemistry.worst_superfat import allow_worst
from studio.foundation.doers import By

if TYPE_CHECKING:
    from inventory.models.stock.lots import Lot

Part = BatchLine.Part


def check_held(
    batch: Batch,
    rows: Sequence[BatchLine],
    lots: Iterable[tuple["Lot", int]],
    *,
    accept_worst: Decimal | None = None,
    by: By = None,
) -> SafetyCheck | None:
    """Check a soap with what the lots it holds consist of; None for a blend.

    A line that is not held whole counts as planned. `accept_worst` is the worst superfat that `by`
    accepts with it, where nobody accepted one as low. Raises LyeHeavy and the fragrance refusals,
    WorstNotAccepted, and FormulaRefusal when what the recipe names as its NaOH or KOH is kept as
    another alkali.
    """
    if not batch.fats:
        return None
    soap = soap_rows(rows)
    refuse_other_alkali(batch.version, {})
    held = list(lots)
    check = recheck(scaled_from(batch, soap), held_values(soap, held))
    allow_worst(batch.version, check, of=f"batch {batch.code}", accept=accept_worst, by=by)
    return replace(check, notices=(*check.notices, *told_of_lots(soap, held)))


def told_of_lots(
    rows: Iterable[BatchLine], lots: Iterable[tuple["Lot", int]]
) -> tuple[Notice, ...]:
    """What is unusual of the certificates of lots that rows take. No query, but two where something
    was measured on one that was made here.
    """
    materials = {row.material_id: row.material for row in rows}
    taken = {lot.pk: lot for lot, _ in lots if lot.material_id in materials}
    unusual = unusual_of_lots(taken.values(), materials)
    found = {
        (lot.code, each.code): Notice(
            each.code, f"Lot {lot.code} of {materials[lot.material_id].name}: {each.words}", "lots"
        )
        for lot in taken.values()
        for each in unusual[lot.pk]
    }
    return tuple(found.values())


def soap_rows(rows: Iterable[BatchLine]) -> list[BatchLine]:
    """The rows of what is poured: all but the packaging."""
    return [row for row in rows if not row.is_packing]


def held_values(rows: Sequence[BatchLine], lots: Iterable[tuple["Lot", int]]) -> LotValues:
    """The values of the lots that rows hold; a row that is not held whole counts as planned."""
    amounts = {row.position: row.planned for row in rows}
    return only_whole(rows, lot_values(rows, lots, amounts), amounts)


def only_whole(
    rows: Sequence[BatchLine], values: LotValues, amounts: Mapping[int, int]
) -> LotValues:
    """Values without the rows of which lots give less than `amounts` (by position) says.

    What is still to be made for a batch has no lot yet: it counts as planned, not as left out.
    """
    lines = [row for row in rows if row.part == Part.LINE]
    whole = {
        index: values.lines[index]
        for index, row in enumerate(lines)
        if sum(take.mass_ng for take in values.lines[index])
        == row.material.mass_of(amounts[row.position])
    }
    wanted = {row.part: amounts[row.position] for row in rows}
    return replace(
        values,
        lines=whole,
        naoh=_whole(values.naoh, wanted.get(Part.NAOH)),
        koh=_whole(values.koh, wanted.get(Part.KOH)),
        masterbatch=_whole(values.masterbatch, wanted.get(Part.MASTERBATCH)),
        water=_whole(values.water, wanted.get(Part.WATER)),
    )


def _whole(takes: Sequence[LotTake] | None, wanted: int | None) -> Sequence[LotTake] | None:
    if takes is None or sum(take.mass_ng for take in takes) != wanted:
        return None
    return takes
