"""What a maker should hear of a scaled batch that is not refused."""

from collections.abc import Iterator
from decimal import Decimal

from recipes.domain.formulas.formula import Basis, Notice
from recipes.domain.formulas.scaled import ScaledBatch
from recipes.domain.scaling.sizing import without_density
from studio.foundation.units.writing import percent

#: A step above this share of the alkali moves the superfat by more than half a point.
COARSE_STEP = Decimal("0.01")


def scaling_notices(batch: ScaledBatch, lye_step_ng: int) -> tuple[Notice, ...]:
    """Worst case over the saponification ranges, lines lost in rounding, assumed densities."""
    return (*_of_lye(batch, lye_step_ng), *_of_lines(batch), *_of_densities(batch))


def _of_lye(batch: ScaledBatch, step_ng: int) -> Iterator[Notice]:
    if batch.worst_superfat < 0:
        yield Notice(
            "lye-heavy-at-range-end",
            f"Lots at the low end of their saponification range would be lye-heavy"
            f" ({percent(batch.worst_superfat)} superfat). Use the values of the lots'"
            " certificates, or more superfat.",
            "superfat",
        )
    for name in _alkalis_used(batch):
        if step_ng > getattr(batch, name) * COARSE_STEP:
            yield Notice(
                "coarse-scale",
                f"The scale's step is more than {percent(COARSE_STEP)} of this weight; a finer"
                " scale would hold the superfat better.",
                name,
            )


def _alkalis_used(batch: ScaledBatch) -> Iterator[str]:
    """The alkalis that the formula asks for, even where rounding left nothing of one."""
    alkali = batch.formula.alkali
    if alkali.koh_share < 1:
        yield "naoh_ng" if alkali.masterbatch_strength is None else "masterbatch_ng"
    if alkali.koh_share > 0:
        yield "koh_ng"


def _of_lines(batch: ScaledBatch) -> Iterator[Notice]:
    for scaled in batch.lines:
        name, path = scaled.line.ingredient.name, f"lines.{scaled.position}"
        if scaled.line.basis is Basis.PER_BAR and not batch.bars:
            yield Notice(
                "bars-unknown",
                f"{name} is given per bar, but the number of bars is not known yet.",
                path,
            )
        elif not scaled.stock_amount:
            yield Notice(
                "rounded-to-nothing",
                f"{name} is too little for this scale, or less than half a piece, and was left"
                " out.",
                path,
            )


def _of_densities(batch: ScaledBatch) -> Iterator[Notice]:
    missing = without_density(scaled.line for scaled in batch.lines)
    if missing:
        yield Notice(
            "density-assumed",
            "No density is known for "
            + ", ".join(ingredient.name for ingredient in missing)
            + "; the fill was computed with a usual value.",
            "lines",
        )
