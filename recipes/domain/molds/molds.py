"""Molds: how much batter one holds, how high a volume stands in it, and how many bars it makes.

Lengths are nanometers, volumes nanoliters, masses nanograms.
"""

from bisect import bisect_left
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from recipes.domain.molds.shapes import (
    CavityMold,
    LyingCylinder,
    MeasuredMold,
    Mold,
    RectangularMold,
    Slab,
    TaperedMold,
    UprightCylinder,
    full_volume_nl,
)
from studio.foundation.errors import Faults, InvalidInput

SHARE_PLACES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class GridCut:
    """So many equal bars out of each part: rows along the log, columns across it, layers.

    `trim_nm` is taken off both ends first.
    """

    rows: int = 1
    columns: int = 1
    layers: int = 1
    trim_nm: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LogCut:
    """Bars of one thickness along the log, as many as fit between the trims at both ends."""

    bar_thickness_nm: int
    columns: int = 1
    layers: int = 1
    trim_nm: int = 0


Cut = GridCut | LogCut


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldCut:
    """A mold, how high it is filled (None: to the rim), and how each of its parts is cut.

    The parts are the cavities, or the fields between a slab's dividers; else there is one.
    """

    mold: Mold
    cut: Cut = GridCut()
    fill_height_nm: int | None = None

    def __post_init__(self) -> None:
        if self.fill_height_nm is not None:
            fill_volume_nl(self.mold, self.fill_height_nm)
        _check_cut(self)


def fill_volume_nl(
    mold: Mold, fill_height_nm: int | None = None, *, fill_share: Decimal | None = None
) -> int:
    """Volume of batter in nL: to a height, or to a share of the full volume, or to the rim.

    Raises InvalidInput for a height that isn't above zero, is above the depth, or is given for a
    mold of unknown depth; for a share that isn't above 0 and at most 1; for both at once.
    """
    if fill_share is not None:
        if fill_height_nm is not None:
            raise InvalidInput(
                "Give either a fill height or a share of the mold, not both.", field="fill_share"
            )
        return round(full_volume_nl(mold) * _checked_share(fill_share))
    if fill_height_nm is None:
        return full_volume_nl(mold)
    depth = _known_depth(mold)
    if not 0 < fill_height_nm <= depth:
        raise InvalidInput(
            "The fill height must be above zero and no higher than the mold is deep.",
            field="fill_height_nm",
            details={"fill_height_nm": fill_height_nm, "depth_nm": depth},
        )
    return mold.volume_up_to(fill_height_nm)


def fill_height_nm(mold: Mold, volume_nl: int) -> int:
    """The lowest height in nm at which the mold holds that volume: where the fill line is drawn.

    Raises InvalidInput when the volume isn't above zero, is more than the mold holds, or the mold's
    depth is unknown.
    """
    depth = _known_depth(mold)
    full = full_volume_nl(mold)
    if not 0 < volume_nl <= full:
        raise InvalidInput(
            "The volume must be above zero and no more than the mold holds.",
            field="volume_nl",
            details={"volume_nl": volume_nl, "full_volume_nl": full},
        )
    return bisect_left(range(depth), volume_nl, key=mold.volume_up_to)


def _known_depth(mold: Mold) -> int:
    depth = mold.fill_depth_nm
    if depth is None:
        raise InvalidInput(
            "The depth of this mold is not known; give the fill as a share of its volume.",
            field="fill_height_nm",
        )
    return depth


def _checked_share(share: Decimal) -> Fraction:
    # Looks at the exponent before computing: a Decimal may be 1E-999999.
    exponent = share.as_tuple().exponent
    if not share.is_finite() or not 0 < share <= 1 or int(exponent) < -SHARE_PLACES:
        raise InvalidInput(
            f"A fill share is above 0, at most 1, and has at most {SHARE_PLACES} places.",
            field="fill_share",
        )
    return Fraction(share)


def bars(mold_cut: MoldCut) -> int:
    """How many bars the mold makes."""
    cut = mold_cut.cut
    if isinstance(cut, GridCut):
        along = cut.rows
    else:
        along = int((log_lengths(mold_cut)[0] - 2 * cut.trim_nm) // cut.bar_thickness_nm)
    return parts(mold_cut.mold) * along * cut.columns * cut.layers


def bar_poured_weight_ng(mold_cut: MoldCut, *, batter_ng: int) -> int:
    """Weight of one bar as poured, of `batter_ng` in the whole mold; rounded half to even.

    Trimmed ends and what is left over of a log go into no bar. In a tapered mold a bar weighs what
    a mean one does. Raises InvalidInput for batter that isn't above zero.
    """
    if batter_ng <= 0:
        raise InvalidInput("The batter must weigh something.", field="batter_ng")
    cut = mold_cut.cut
    beside = parts(mold_cut.mold) * cut.columns * cut.layers
    if isinstance(cut, LogCut):
        share = Fraction(cut.bar_thickness_nm) / log_lengths(mold_cut)[1]
    elif cut.trim_nm:
        length = log_lengths(mold_cut)[1]
        share = (length - 2 * cut.trim_nm) / length / cut.rows
    else:
        share = Fraction(1, cut.rows)
    return round(batter_ng * share / beside)


def parts(mold: Mold) -> int:
    """How many equal parts are cut, each with ends of its own: cavities, or fields of a slab."""
    if isinstance(mold, CavityMold):
        return mold.count * parts(mold.cavity)
    return mold.rows * mold.columns if isinstance(mold, Slab) else 1


def log_lengths(mold_cut: MoldCut) -> tuple[Fraction, Fraction]:
    """The shortest and the mean length in nm of a part, along which it is cut.

    A standing tube is cut along its fill height. Raises InvalidInput for a measured mold.
    """
    mold = mold_cut.mold.cavity if isinstance(mold_cut.mold, CavityMold) else mold_cut.mold
    match mold:
        case TaperedMold():
            height = mold_cut.fill_height_nm or mold.depth_nm
            ends = (Fraction(mold.bottom_length_nm), mold.length_at(height))
            return min(ends), (ends[0] + ends[1]) / 2
        case RectangularMold() | LyingCylinder():
            length = Fraction(mold.length_nm)
        case Slab():
            length = Fraction(mold.net_length_nm, mold.columns)
        case UprightCylinder():
            length = Fraction(mold_cut.fill_height_nm or mold.height_nm)
        case MeasuredMold():
            raise InvalidInput(
                "The length of a measured mold is not known; cut it by a grid without a trim.",
                field="cut",
            )
    return length, length


def _check_cut(mold_cut: MoldCut) -> None:
    """Refuse a cut that makes no bars, with all that is wrong."""
    cut = mold_cut.cut
    faults = Faults()
    for name in ("rows", "columns", "layers"):
        if getattr(cut, name, 1) < 1:
            faults.add("not-positive", "At least one is needed.", f"cut.{name}")
    if cut.trim_nm < 0:
        faults.add("below-zero", "A trim cannot be below zero.", "cut.trim_nm")
    if isinstance(cut, LogCut) and cut.bar_thickness_nm <= 0:
        faults.add("not-positive", "A bar must have a thickness.", "cut.bar_thickness_nm")
    faults.raise_if_any()
    if isinstance(cut, GridCut) and cut.trim_nm == 0:
        return
    left = log_lengths(mold_cut)[0] - 2 * cut.trim_nm
    if left <= 0 or (isinstance(cut, LogCut) and left < cut.bar_thickness_nm):
        faults.add("no-bars", "The trim and the thickness leave no bar of the log.", "cut")
    faults.raise_if_any()
