"""What a recipe is scaled to: a target of its own, or a mold with the bars it is cut into."""

from dataclasses import dataclass, replace

from recipes.domain.formulas.scaled import BarsTarget, ScaledBatch, Target, VolumeTarget
from recipes.domain.molds.molds import MoldCut, bar_poured_weight_ng, bars, fill_volume_nl
from recipes.errors import ScalingRefusal
from recipes.models.molds.molds import Mold
from recipes.queries.molds.molds import cut_of
from studio.foundation.errors import InvalidInput


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What is asked for: a target, or a mold to fill; `bars` where the mold does not say.

    `fill_height_nm` goes before the mold's own.
    """

    target: Target | None = None
    mold: Mold | None = None
    fill_height_nm: int | None = None
    bars: int = 0


def scaling_target(wish: Wish) -> tuple[Target, int]:
    """The target and the number of bars: from the mold where one is filled or cut.

    Raises ScalingRefusal for a wish without a target, InvalidInput for a mold that cannot be.
    """
    if wish.mold is None:
        if wish.target is None:
            raise ScalingRefusal("Say what to scale to: a mold, fats, batter or bars.")
        if isinstance(wish.target, BarsTarget):
            return wish.target, wish.target.bars
        return wish.target, wish.bars
    cut = _cut(wish, wish.mold)
    count = wish.bars or bars(cut)
    if wish.target is not None:
        is_count = isinstance(wish.target, BarsTarget)
        return wish.target, wish.target.bars if is_count else count  # type: ignore[union-attr]
    volume = fill_volume_nl(cut.mold, cut.fill_height_nm)
    return VolumeTarget(volume, wish.mold.overfill_share), count


def _cut(wish: Wish, mold: Mold) -> MoldCut:
    """The mold as it will be filled and cut, with the fill height that was asked for."""
    cut = cut_of(mold)
    if wish.fill_height_nm is None:
        return cut
    try:
        return replace(cut, fill_height_nm=wish.fill_height_nm)
    except InvalidInput as refusal:
        faults = (replace(fault, field="fill_height") for fault in refusal.faults)
        raise ScalingRefusal(faults=faults) from refusal


def bar_weight(wish: Wish, scaled: ScaledBatch, count: int) -> int:
    """ng that one bar weighs as poured: by the mold's cut, else the batter in the mold by bars."""
    in_mold = round(scaled.batter_ng * (1 - scaled.formula.pot_loss_share))
    if isinstance(wish.target, BarsTarget):
        return wish.target.poured_weight_ng
    if wish.mold is not None and not wish.bars:
        return bar_poured_weight_ng(_cut(wish, wish.mold), batter_ng=in_mold)
    return in_mold // count if count else 0
