"""The cut: from the mold's grid to bars and ends, how they lie, and who bears their cost.

Lengths are nanometers, exact fractions until they are drawn; masses nanograms, money
ten-thousandths.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import lcm

from recipes.domain.molds.molds import (
    GridCut,
    MoldCut,
    bar_poured_weight_ng,
    bars,
    log_lengths,
    parts,
)
from recipes.domain.molds.shapes import (
    CavityMold,
    LyingCylinder,
    MeasuredMold,
    Mold,
    RectangularMold,
    Slab,
    TaperedMold,
    UprightCylinder,
)
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.money import split

#: Each part of a mold that is trimmed gives an end on either side.
ENDS_OF_A_PART = 2
SHARE_PLACES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class BarSize:
    """A bar as cut: along the log, across it, and up. Of a round log, the box around the bar."""

    length_nm: int
    width_nm: int
    height_nm: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPlan:
    """What a pour is cut into. `bars_ng`, `ends_ng` and `rest_ng` add up to the batter.

    `rest_ng` is what is left of a log too short for one more bar. `size` is None where the mold
    was only measured. In a tapered mold size and weight are those of a mean bar.
    """

    bars: int
    bar_ng: int
    size: BarSize | None
    ends: int
    end_ng: int
    bars_ng: int
    ends_ng: int
    rest_ng: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CutCost:
    """The cost of poured soap: on the good bars, on the ends that were kept, and lost.

    Without a good bar nothing is left to bear what the ends do not: it is an expense (IAS 2
    paragraph 34).
    """

    bars: int
    ends: int
    loss: int = 0


def cut_plan(mold_cut: MoldCut, *, batter_ng: int) -> CutPlan:
    """The bars and ends of `batter_ng` in a mold, cut by its grid.

    Weights are as poured, in proportion to the length along the log. Raises InvalidInput for
    batter that isn't above zero.
    """
    count, bar = bars(mold_cut), bar_poured_weight_ng(mold_cut, batter_ng=batter_ng)
    trim = mold_cut.cut.trim_nm
    ends = parts(mold_cut.mold) * ENDS_OF_A_PART if trim else 0
    bar_share, end_share = Fraction(1, count), Fraction(0)
    if trim or not isinstance(mold_cut.cut, GridCut):
        length = log_lengths(mold_cut)[1]
        per_part = parts(mold_cut.mold)
        end_share = trim / length / per_part
        bar_share = _along(mold_cut, length) / length / per_part / _beside(mold_cut)
    shares = (bar_share * count, end_share * ends)
    weights = _whole_weights(*shares, 1 - sum(shares, Fraction(0)))
    in_bars, in_ends, rest = split(batter_ng, weights)
    return CutPlan(
        bars=count,
        bar_ng=bar,
        size=bar_size(mold_cut),
        ends=ends,
        end_ng=round(batter_ng * end_share),
        bars_ng=in_bars,
        ends_ng=in_ends,
        rest_ng=rest,
    )


def bar_size(mold_cut: MoldCut) -> BarSize | None:
    """Length x width x height of a bar, rounded half to even; None in a measured mold.

    A tapered mold gives mean bars; a tube that lies gives the box around the round.
    """
    mold = mold_cut.mold.cavity if isinstance(mold_cut.mold, CavityMold) else mold_cut.mold
    if isinstance(mold, MeasuredMold):
        return None
    cut = mold_cut.cut
    along = _along(mold_cut, log_lengths(mold_cut)[1])
    width, height = _across(mold, mold_cut.fill_height_nm)
    return BarSize(
        length_nm=round(along),
        width_nm=round(width / cut.columns),
        height_nm=round(height / cut.layers),
    )


def cost_of_cut(
    cost: int, *, poured_ng: int, ends_ng: int = 0, share: Decimal | None = None
) -> CutCost:
    """Deal the cost of poured soap to the good bars and the kept ends; the parts add up to it.

    Ends that are kept for another batch are a by-product with a part of the cost on a rational
    basis (IAS 2 paragraph 14, from memory): the stated `share`, else their part of the weight.
    Without kept ends all of it falls on the good bars, rejected bars and waste included (normal
    spoilage). Raises InvalidInput for a share outside 0 to below 1, and for ends that leave
    nothing of the pour for the bars.
    """
    faults = Faults()
    if not 0 <= ends_ng < poured_ng:
        faults.add("ends-too-heavy", "The ends weigh less than what was poured.", "ends_weight")
    if share is not None and not 0 <= share < 1:
        faults.add("outside-range", "A share from 0 to below 1.", "ends_cost_share")
    faults.raise_if_any(InvalidInput)
    weights = [poured_ng - ends_ng, ends_ng]
    if ends_ng and share is not None:
        part = int(share.scaleb(SHARE_PLACES))
        weights = [10**SHARE_PLACES - part, part]
    on_bars, on_ends = split(cost, weights)
    return CutCost(bars=on_bars, ends=on_ends)


def abnormal_part(weight_ng: int, *, abnormal: int, bars: int) -> int:
    """The part of what became bars that an unusual loss took, by count of all bars cut, in ng.

    The abnormal rejects bear the cost of as many good bars, and it is an expense (IAS 2 paragraph
    16(a)); the cost of usual rejects stays with the good bars. Raises InvalidInput for a count
    outside 0 to all bars, or where ends leave nothing for them.
    """
    faults = Faults()
    if not 0 <= abnormal <= bars:
        faults.add("outside-range", "Unusual rejects are some of the bars.", "abnormal")
    if abnormal and weight_ng <= 0:
        faults.add("ends-too-heavy", "The ends weigh less than what was poured.", "ends_weight")
    faults.raise_if_any(InvalidInput)
    return round(Fraction(weight_ng * abnormal, bars)) if abnormal else 0


def _along(mold_cut: MoldCut, length: Fraction) -> Fraction:
    """How long a bar is along the log."""
    cut = mold_cut.cut
    if isinstance(cut, GridCut):
        return (length - 2 * cut.trim_nm) / cut.rows
    return Fraction(cut.bar_thickness_nm)


def _beside(mold_cut: MoldCut) -> int:
    return mold_cut.cut.columns * mold_cut.cut.layers


def _across(mold: Mold, fill_nm: int | None) -> tuple[Fraction, Fraction]:
    """Width and height of a log or field, before it is cut across."""
    match mold:
        case RectangularMold():
            return Fraction(mold.width_nm), Fraction(fill_nm or mold.depth_nm)
        case TaperedMold():
            height = fill_nm or mold.depth_nm
            return mold.width_at(Fraction(height, 2)), Fraction(height)
        case Slab():
            return Fraction(mold.net_width_nm, mold.rows), Fraction(fill_nm or mold.depth_nm)
        case LyingCylinder():
            return Fraction(mold.diameter_nm), Fraction(fill_nm or mold.diameter_nm)
        case UprightCylinder():
            return Fraction(mold.diameter_nm), Fraction(mold.diameter_nm)
        case MeasuredMold() | CavityMold():
            raise TypeError("these have no sides of their own")


def _whole_weights(*shares: Fraction) -> list[int]:
    whole = lcm(*(share.denominator for share in shares))
    return [int(share * whole) for share in shares]


@dataclass(frozen=True, slots=True, kw_only=True)
class CutLayout:
    """One log, or a whole slab: `along` bars by `across`, in `layers`; there are `pieces` of it.

    `trim_nm` is the end at either side, `rest_nm` what is left of the length too short for one
    more bar.
    """

    size: BarSize
    along: int
    across: int
    layers: int
    trim_nm: int
    rest_nm: int
    pieces: int

    @property
    def length_nm(self) -> int:
        """Along, ends and rest included."""
        return self.along * self.size.length_nm + 2 * self.trim_nm + self.rest_nm

    @property
    def width_nm(self) -> int:
        """Across."""
        return self.across * self.size.width_nm


def cut_layout(mold_cut: MoldCut) -> CutLayout | None:
    """The layout of a cut; None in a measured mold, of which the sides are not known."""
    size = bar_size(mold_cut)
    if size is None:
        return None
    mold, cut, pieces = mold_cut.mold, mold_cut.cut, parts(mold_cut.mold)
    along, across = bars(mold_cut) // (pieces * cut.columns * cut.layers), cut.columns
    inner, count = (mold.cavity, mold.count) if isinstance(mold, CavityMold) else (mold, 1)
    if isinstance(inner, Slab) and along == across == 1 and not cut.trim_nm:
        # Its dividers part it already: the whole of it is drawn, not one field.
        along, across, pieces = inner.columns, inner.rows, count
        rest = Fraction(0)
    elif isinstance(cut, GridCut) or isinstance(inner, MeasuredMold):
        rest = Fraction(0)
    else:
        rest = log_lengths(mold_cut)[1] - 2 * cut.trim_nm - along * cut.bar_thickness_nm
    return CutLayout(
        size=size,
        along=along,
        across=across,
        layers=cut.layers,
        trim_nm=cut.trim_nm,
        rest_nm=round(rest),
        pieces=pieces,
    )
