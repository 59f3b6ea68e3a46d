"""What is made in the studio without saponification: masterbatch lye, infused oil, dispersions.

A blend is lines as shares of the output that sum to exactly 1. What stays behind (in a filter, in
the herbs, in the pot) is its loss: for 1 kg of strained oil more than 1 kg must go in.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.domain.materials import MaterialKind
from recipes.domain import lye
from recipes.domain.formula import ONE, ZERO, Ingredient
from recipes.domain.lye import percent
from recipes.domain.weighing import down_to_step, nearest_whole, to_step, up_to_step
from recipes.errors import FormulaRefusal, ScalingRefusal
from studio.errors import Faults

GREATEST_LOSS = Decimal("0.90")


@dataclass(frozen=True, slots=True)
class BlendLine:
    """A material as a share of all that goes into the blend."""

    ingredient: Ingredient
    share: Decimal


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


@dataclass(frozen=True, slots=True)
class MasterbatchWeights:
    """Dry NaOH and water for a stored lye, in ng, and its strength by those weights.

    Show `recipes.domain.cautions` beside them: lye into water, never water into lye.
    """

    naoh_ng: int
    water_ng: int
    strength: Decimal


def check_blend(lines: Sequence[BlendLine], *, loss_share: Decimal = ZERO) -> None:
    """Refuse a blend that is not 100 %, or with a line that cannot be. Raises `FormulaRefusal`."""
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
    total = sum((line.share for line in lines), ZERO)
    if total != ONE:
        faults.add(
            "blend-not-whole", f"The lines must sum to 100 %, not {percent(total)}.", "lines"
        )
    if not (loss_share.is_finite() and ZERO <= loss_share <= GREATEST_LOSS):
        faults.add("outside-range", f"Must be from 0 % to {percent(GREATEST_LOSS)}.", "loss_share")
    faults.raise_if_any(FormulaRefusal)


def scale_blend(
    lines: Sequence[BlendLine],
    output_ng: int,
    resolution_ng: int,
    *,
    loss_share: Decimal = ZERO,
) -> ScaledBlend:
    """Weigh out a blend so that `output_ng` is left after the loss. All in ng.

    Raises `FormulaRefusal` (see `check_blend`) and `ScalingRefusal`.
    """
    check_blend(lines, loss_share=loss_share)
    if output_ng <= 0 or resolution_ng <= 0:
        raise ScalingRefusal("Output and the scale's step must be above 0.", field="output")
    total = output_ng / (1 - loss_share)
    weights = tuple(
        BlendWeight(
            line, nearest_whole(total * line.share), to_step(total * line.share, resolution_ng)
        )
        for line in lines
    )
    input_ng = sum(weight.rounded_ng for weight in weights)
    return ScaledBlend(weights, input_ng, nearest_whole(input_ng * (1 - loss_share)))


def masterbatch_strength(*, naoh_ng: int, naoh_purity: Decimal, water_ng: int) -> Decimal:
    """Pure NaOH by mass of a lye made from these weights."""
    return lye.concentration(pure=naoh_ng * naoh_purity, lye=naoh_ng + water_ng)


def masterbatch_weights(
    *, output_ng: int, strength: Decimal, naoh_purity: Decimal, resolution_ng: int = 1
) -> MasterbatchWeights:
    """NaOH (of its purity) and water for `output_ng` of lye with `strength` of pure NaOH by mass.

    NaOH is rounded down and water up to the scale's step, so the lye is never stronger than its
    label. Raises `FormulaRefusal` when the strength is out of reach and `ScalingRefusal` for an
    empty output.
    """
    if not 0 < naoh_purity <= 1:
        raise FormulaRefusal("A purity is above 0 % and at most 100 %.", field="naoh_purity")
    if not 0 < strength <= min(lye.STRONGEST_LYE, naoh_purity):
        raise FormulaRefusal(
            f"A stored lye holds above 0 % and at most {percent(lye.STRONGEST_LYE)} NaOH: more does"
            " not stay dissolved.",
            field="strength",
        )
    if output_ng <= 0 or resolution_ng <= 0:
        raise ScalingRefusal("Output and the scale's step must be above 0.", field="output")
    naoh = down_to_step(output_ng * strength / naoh_purity, resolution_ng)
    water = up_to_step(Decimal(output_ng - naoh), resolution_ng)
    return MasterbatchWeights(
        naoh_ng=naoh,
        water_ng=water,
        strength=masterbatch_strength(naoh_ng=naoh, naoh_purity=naoh_purity, water_ng=water),
    )
