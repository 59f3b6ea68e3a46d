"""What is made in the studio without saponification: masterbatch lye, infused oil, dispersions.

A blend is lines as shares of the output that sum to exactly 1. What stays behind (in a filter, in
the herbs, in the pot) is its loss: for 1 kg of strained oil more than 1 kg must go in.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.formulas.formula import ONE, ZERO, Ingredient
from recipes.domain.scales import Scales, as_scales
from recipes.domain.weighing import nearest_whole
from recipes.errors import FormulaRefusal, ScalingRefusal
from studio.foundation.errors import Faults
from studio.foundation.units.writing import percent

GREATEST_LOSS = Decimal("0.90")
#: What mixes with the rest of a blend, so that no filter holds it back.
_DISSOLVES = frozenset(
    {MaterialKind.FAT, MaterialKind.LIQUID, MaterialKind.FRAGRANCE, MaterialKind.ACID}
)


@dataclass(frozen=True, slots=True)
class BlendLine:
    """A material as a share of all that goes into the blend; `strained` out of it again, or not."""

    ingredient: Ingredient
    share: Decimal
    strained: bool = False


@dataclass(frozen=True, slots=True)
class BlendWeight:
    """A line at its size: exact and rounded to the scale, in ng."""

    line: BlendLine
    exact_ng: int
    rounded_ng: int


@dataclass(frozen=True, slots=True)
class ScaledBlend:
    """A blend at its size: what goes in, and what is expected to come out, in ng."""

    weights: tuple[BlendWeight, ...]
    input_ng: int
    output_ng: int


def alkali_in(lines: Iterable[BlendLine]) -> str:
    """The alkali that a blend of these is kept as, "NaOH" or "KOH"; "" without one or with both."""
    brought = {line.ingredient.alkali for line in lines if line.ingredient.holds_alkali}
    return brought.pop() if brought in ({"NaOH"}, {"KOH"}) else ""


def check_blend(lines: Sequence[BlendLine], *, makes: str = "", loss_share: Decimal = ZERO) -> None:
    """Refuse a blend that is not 100 %, or with a line that cannot be. Raises `FormulaRefusal`.

    `makes` is the alkali that its product is kept as (see `alkali_in`): only a stored lye of NaOH
    may take NaOH. What else is blended may go into soap as a line, for which no lye is left out.
    """
    faults = Faults()
    for position, line in enumerate(lines):
        name = line.ingredient.name
        if not (line.share.is_finite() and line.share > 0):
            faults.add(
                "amount-not-positive", f"{name}: above 0, please.", f"lines.{position}.share"
            )
        if line.ingredient.counted or line.ingredient.kind is MaterialKind.PACKAGING:
            faults.add(
                "not-weighed",
                f"{name} is not weighed, so it cannot be a share.",
                f"lines.{position}",
            )
        if line.ingredient.holds_alkali and not (makes and line.ingredient.alkali == makes):
            faults.add(
                "alkali-as-line",
                f"{name} holds alkali, which the lye of a soap would not be set by. Say of the"
                " product which alkali it is kept as, or take the line out.",
                f"lines.{position}",
            )
    _check_strained(lines, faults)
    total = sum((line.share for line in lines), ZERO)
    if total != ONE:
        faults.add(
            "blend-not-whole", f"The lines must sum to 100 %, not {percent(total)}.", "lines"
        )
    if not (loss_share.is_finite() and ZERO <= loss_share <= GREATEST_LOSS):
        faults.add("outside-range", f"Must be from 0 % to {percent(GREATEST_LOSS)}.", "loss_share")
    faults.raise_if_any(FormulaRefusal)


def _check_strained(lines: Sequence[BlendLine], faults: Faults) -> None:
    if lines and all(line.strained for line in lines):
        faults.add("all-strained", "Something must stay of the blend.", "lines")
    for position, line in enumerate(lines):
        if line.strained and (line.ingredient.holds_alkali or line.ingredient.kind in _DISSOLVES):
            faults.add(
                "not-strained",
                f"{line.ingredient.name} cannot be strained out: it stays in the blend.",
                f"lines.{position}.strained",
            )


def scale_blend(
    lines: Sequence[BlendLine],
    output_ng: int,
    resolution: Scales | int,
    *,
    makes: str = "",
    loss_share: Decimal = ZERO,
) -> ScaledBlend:
    """Weigh out a blend so that `output_ng` is left after the loss. All in ng.

    Alkali is rounded down to the step of its scale, so that no lye is stronger than it is taken
    for. `resolution` is what it is weighed on, or a step. Raises `FormulaRefusal` (see
    `check_blend`) and `ScalingRefusal`.
    """
    check_blend(lines, makes=makes, loss_share=loss_share)
    scales = as_scales(resolution)
    if output_ng <= 0 or scales.step_ng <= 0:
        raise ScalingRefusal("Output and the scale's step must be above 0.", field="output")
    total = output_ng / (1 - loss_share)
    weights = tuple(_weight(line, total * line.share, scales) for line in lines)
    input_ng = sum(weight.rounded_ng for weight in weights)
    return ScaledBlend(weights, input_ng, nearest_whole(input_ng * (1 - loss_share)))


def _weight(line: BlendLine, exact: Decimal, scales: Scales) -> BlendWeight:
    holds = line.ingredient.holds_alkali
    return BlendWeight(
        line, nearest_whole(exact), scales.down(exact) if holds else scales.nearest(exact)
    )
