"""How the bars of a mold lie when it is cut, seen from above: what a drawing of the cut shows.

Lengths are nanometers, exact fractions until they are drawn.
"""

from dataclasses import dataclass
from fractions import Fraction

from recipes.domain.cure.cutting import BarSize, bar_size
from recipes.domain.molds.molds import (
    CavityMold,
    GridCut,
    MeasuredMold,
    MoldCut,
    Slab,
    bars,
    log_lengths,
    parts,
)


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
