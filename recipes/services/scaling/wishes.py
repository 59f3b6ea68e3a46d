"""What is asked for, from plain values: a mold, a volume, a mass of fats or batter, or bars."""

from dataclasses import dataclass

from recipes.domain.formulas.scaled import BarsTarget, BatterTarget, FatTarget, Target, VolumeTarget
from recipes.domain.weighing import MOST_BARS
from recipes.errors import ScalingRefusal
from recipes.queries.molds.molds import mold_by_code
from recipes.services.scaling.planning import Wish
from studio.foundation.errors import Faults


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A target as it is written: masses in ng, volume in nL, lengths in nm, the mold by its code.

    `bars` with `poured_weight_ng` is a target of its own; without, it is how many bars the mold or
    the mass gives.
    """

    mold: str | None = None
    fill_height_nm: int | None = None
    fats_ng: int | None = None
    batter_ng: int | None = None
    volume_nl: int | None = None
    bars: int | None = None
    poured_weight_ng: int | None = None


def wish_from(asked: Asked) -> Wish:
    """The wish that plain values say. One query where a mold is named, else none.

    Raises ScalingRefusal with every fault: no target or more than one, a weight of bars without
    their number, a fill height without a mold, a number that is not above zero; NotFound for an
    unknown mold.
    """
    _check(asked)
    return Wish(
        target=_target(asked),
        mold=None if asked.mold is None else mold_by_code(asked.mold),
        fill_height_nm=asked.fill_height_nm,
        bars=asked.bars or 0,
    )


def _target(asked: Asked) -> Target | None:
    if asked.fats_ng is not None:
        return FatTarget(asked.fats_ng)
    if asked.batter_ng is not None:
        return BatterTarget(asked.batter_ng)
    if asked.volume_nl is not None:
        return VolumeTarget(asked.volume_nl)
    if asked.bars is not None and asked.poured_weight_ng is not None:
        return BarsTarget(asked.bars, asked.poured_weight_ng)
    return None


def _check(asked: Asked) -> None:
    faults = Faults()
    sizes = {
        "fats": asked.fats_ng,
        "batter": asked.batter_ng,
        "volume": asked.volume_nl,
        "poured_weight": asked.poured_weight_ng,
    }
    named = [name for name, size in sizes.items() if size is not None]
    if len(named) > 1:
        faults.add(
            "several-targets", f"Give one of {', '.join(named)}: each is a target.", named[1]
        )
    if not named and asked.mold is None:
        faults.add(
            "no-target",
            "Say what to scale to: a mold, a volume, fats, batter, or bars with their poured"
            " weight.",
            "target",
        )
    if asked.poured_weight_ng is not None and asked.bars is None:
        faults.add("bars-missing", "Say how many bars of that weight.", "bars")
    if asked.fill_height_nm is not None and asked.mold is None:
        faults.add("mold-missing", "A fill height needs the mold it is meant for.", "mold")
    for name, value in {
        **sizes,
        "bars": asked.bars,
        "fill_height": asked.fill_height_nm,
    }.items():
        if value is not None and value <= 0:
            faults.add("not-positive", "It must be above zero.", name)
    if asked.bars is not None and asked.bars > MOST_BARS:
        faults.add("too-many", f"At most {MOST_BARS} bars at once.", "bars")
    faults.raise_if_any(ScalingRefusal)
