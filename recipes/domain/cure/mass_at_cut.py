"""Mass at the cut: what comes out of a pour weighs no more than it did, and loss is told apart.

Masses are nanograms, exact fractions where a mean is meant. That parts add up to the whole is
conservation of mass; the bounds from which a reason is asked are common practice, no source: a
night in the mold loses a few percent of water and what sticks to it, a usual cut is within a
quarter of the planned weight.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from recipes.domain.scales import Scales

#: From more than this part of the pour lost a reason is asked.
USUAL_LOSS = Fraction(1, 10)
#: From bars farther than this from their planned weight a reason is asked.
USUAL_DEVIATION = Fraction(1, 4)


@dataclass(frozen=True, slots=True, kw_only=True)
class CutParts:
    """What a cut gave: counts of bars, and weights of all of each kind; None was not weighed."""

    good: int
    rejected: int = 0
    good_ng: int | None = None
    rejected_ng: int | None = None
    ends_ng: int | None = None

    @property
    def stated_ng(self) -> int:
        """All that was weighed."""
        return (self.good_ng or 0) + (self.rejected_ng or 0) + (self.ends_ng or 0)

    @property
    def weighed(self) -> Iterator[tuple[int, int]]:
        """Each weight that is stated, in ng, with how many pieces it is of."""
        kinds = ((self.good_ng, self.good), (self.rejected_ng, self.rejected), (self.ends_ng, 1))
        return ((mass, pieces) for mass, pieces in kinds if mass is not None)

    @property
    def unweighed(self) -> int:
        """How many bars there are of which no weight is stated."""
        return self.good * (self.good_ng is None) + self.rejected * (self.rejected_ng is None)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedCut:
    """What was poured, and what the plan makes of that.

    `planned_bar_ng` is a bar's weight by the plan, `bar_ng` the same in proportion to what was
    poured, None where no bars were planned; `ends_ng` what is planned as ends and as too short for
    a bar.
    """

    poured_ng: int
    planned_bar_ng: Fraction | None = None
    bar_ng: Fraction | None = None
    ends_ng: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class CutBalance:
    """The weight of a good bar and the loss as far as they are known, else None.

    Bars that nobody weighed count as the plan has them, or as thinner where there is less for each
    of them.
    """

    good_bar_ng: Fraction | None
    loss_ng: Fraction | None


class Asked(StrEnum):
    """Why a reason is asked for a cut; each is the code of its fault."""

    LOSS = "loss-needs-reason"
    BAR_WEIGHT = "bar-weight-needs-reason"


def allowed_by_scales(parts: CutParts, poured: Sequence[int], scales: Scales) -> int:
    """By how much what is stated may outweigh the pour, in ng: one step of its scale a reading.

    `poured` are the masses that were read of the pour: all of it, or each of what went in.
    """
    room = sum(scales.room_ng(mass, pieces=pieces) for mass, pieces in parts.weighed)
    return room + sum(scales.room_ng(mass) for mass in poured)


def excess(parts: CutParts, *, poured_ng: int, allowance_ng: int) -> int:
    """By how much what is stated weighs more than can have come out of the pour; 0 if it may."""
    return max(parts.stated_ng - poured_ng - allowance_ng, 0)


def outweigh_pour(weights: Sequence[int], *, poured_ng: int, scales: Scales) -> bool:
    """Whether bars (each a reading, in ng) weigh more together than was poured.

    Soap only loses mass after the pour. One step of its scale for each bar and one for the pour is
    left to the scales.
    """
    return sum(weights) > poured_ng + sum(scales.room_ng(mass) for mass in (*weights, poured_ng))


def balance(parts: CutParts, expected: ExpectedCut) -> CutBalance:
    """What became of a pour, by what was weighed and, where nothing was, by the plan."""
    left = Fraction(max(expected.poured_ng - parts.stated_ng, 0))
    each = _unweighed_bar(parts, expected, left)
    if parts.good_ng is None:
        good_bar = each if parts.good else None
    else:
        good_bar = Fraction(parts.good_ng, parts.good) if parts.good else None
    if parts.unweighed and each is None:
        return CutBalance(good_bar_ng=good_bar, loss_ng=None)
    left -= parts.unweighed * (each or 0)
    ends = expected.ends_ng if parts.ends_ng is None else 0
    return CutBalance(good_bar_ng=good_bar, loss_ng=max(left - ends, Fraction(0)))


def reasons_asked(found: CutBalance, expected: ExpectedCut) -> Iterator[Asked]:
    """What is unusual about a cut, so that somebody should say why."""
    if found.loss_ng is not None and found.loss_ng > expected.poured_ng * USUAL_LOSS:
        yield Asked.LOSS
    bar, planned = found.good_bar_ng, expected.planned_bar_ng
    if bar is not None and planned is not None and abs(bar - planned) > planned * USUAL_DEVIATION:
        yield Asked.BAR_WEIGHT


def _unweighed_bar(parts: CutParts, expected: ExpectedCut, left: Fraction) -> Fraction | None:
    if not parts.unweighed or expected.bar_ng is None:
        return None
    return min(expected.bar_ng, left / parts.unweighed)
