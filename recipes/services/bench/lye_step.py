"""The lye step at the bench: which lines it has, and what is confirmed before it opens."""

from recipes.domain.bench.cautions import Caution, ready_for
from recipes.domain.formulas.formula import Stage
from recipes.models.bench.batches import Batch, BatchLine
from recipes.services.bench.needs import cautions_of

Part = BatchLine.Part


def is_lye_line(row: BatchLine) -> bool:
    """Whether a row, whose material is loaded, belongs to the lye step.

    All that goes into the lye does, its water too: whoever weighs it stands over lye. So does
    alkali and stored lye wherever a blend has it.
    """
    return row.stage == Stage.LYE.value or bool(row.material.alkali)


def to_confirm(batch: Batch) -> tuple[Caution, ...]:
    """What is confirmed before the lye step of a batch opens; empty where it has none. No query."""
    rows = list(batch.lines.all())
    if not cautions_of(batch) or not any(is_lye_line(row) for row in rows):
        return ()
    stored = any(row.part == Part.MASTERBATCH or _is_stored(row) for row in rows)
    return ready_for(stored=stored)


def _is_stored(row: BatchLine) -> bool:
    return bool(row.material.alkali) and row.material.kind == "intermediate"
