"""The net weight to print on a bar: no more than the average bar, and no bar short by too much.

NIST Handbook 133, chapters 1 and 2: the average of a lot may not be below its label (average
requirement), and no package may be short by more than the maximum allowable variation, MAV
(individual requirement). The MAV table is from memory: not for legal decisions. Masses are
nanograms; bounds are rounded down and spreads up, so that every rounding errs to a lower label.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from functools import cache
from typing import Annotated

from recipes.domain.chemistry import tables
from recipes.errors import OutsideTable
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.hints import Grams, Mark
from studio.foundation.units.registry import NG_PER_G

TABLE = "net_contents_mav.csv"
TABLE_NOTE = (
    "The table of maximum allowable variations is written from memory of NIST Handbook 133, table "
    "2-5: it is not for legal decisions. Check it against the current handbook before you print."
)
#: The correction factors printed in the handbook are t(0.975)/sqrt(n) (12: 0.635, 24: 0.422).
USUAL_CONFIDENCE = Decimal("0.975")
#: A scale's division may be no larger than this part of the MAV (Handbook 133, section 2.2 a).
DIVISIONS_OF_MAV = 6
SMALL_SHARE = Fraction(1, 10)
#: Lots up to so many packages: how many are weighed; 0 is all of them.
_SAMPLES = ((11, 0), (250, 12), (3200, 24))
_LARGEST_SAMPLE = 48


class Requirement(StrEnum):
    """Which of the two requirements keeps the label from being higher."""

    AVERAGE = "average"
    INDIVIDUAL = "individual"
    BOTH = "both"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """Weighed bars: how many, mean and lightest in ng, standard deviation (n - 1) in ng."""

    count: int
    mean: Annotated[Fraction, Mark.GRAMS]
    deviation: Annotated[float, Mark.GRAMS]
    lightest: Grams


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelWeight:
    """The largest label and what it rests on, all in ng.

    `average_bound` is the mean less its uncertainty; `individual_floor` is what no bar is expected
    to be below, which may be as low as the label less `mav`. `by_average` and `by_individual` are
    the labels that each requirement alone would allow; 0 is none.
    """

    label: Grams
    by_average: Grams
    by_individual: Grams
    binds: Requirement
    average_bound: int
    individual_floor: int
    mav: Grams
    largest_division: Grams


def sample_of(weights_ng: Sequence[int]) -> Sample:
    """Mean, spread and lightest of weighed bars. Raises InvalidInput for fewer than two."""
    faults = Faults()
    if len(weights_ng) < 2:
        faults.add("too-few-bars", "Weigh at least two bars: one shows no spread.", "weights")
    for index, weight in enumerate(weights_ng):
        if weight <= 0:
            faults.add("not-positive", "A bar weighs more than nothing.", f"weights.{index}")
    faults.raise_if_any(InvalidInput)
    count, total = len(weights_ng), sum(weights_ng)
    squares = sum((count * weight - total) ** 2 for weight in weights_ng)
    variance = Fraction(squares, count * count * (count - 1))
    return Sample(
        count=count,
        mean=Fraction(total, count),
        deviation=math.sqrt(variance),
        lightest=min(weights_ng),
    )


def correction_factor(count: int, *, confidence: Decimal) -> float:
    """By how many standard deviations the mean of `count` packages may be off: t / sqrt(n).

    t is Student's, one-sided, with n - 1 degrees of freedom (Handbook 133 table 2-1 and
    Directive 76/211/EEC annex II, which prints 0.503 for 30 and 99.5 %).
    """
    return _student(count - 1, float(confidence)) / math.sqrt(count)


def _student(freedom: int, share: float) -> float:
    """The quantile of Student's t: what so large a share of it is below."""
    # scipy takes a fifth of a second to load, which most processes never need.
    from scipy.special import stdtrit  # noqa: PLC0415

    return float(stdtrit(freedom, share))


def floor_factor(count: int, *, confidence: Decimal, inspected: int) -> float:
    """How far below the sample's mean none of the next `inspected` bars is, at that confidence.

    The prediction bound t sqrt(1 + 1/n) for normally distributed weights, the risk split evenly
    over the inspected bars (Bonferroni; textbook statistics, from memory).
    """
    risk = (1 - float(confidence)) / inspected
    return _student(count - 1, 1 - risk) * math.sqrt(1 + 1 / count)


def inspected_of(lot: int) -> int:
    """How many of a lot an inspector weighs (Handbook 133, table 2-1, from memory)."""
    return next((sample for most, sample in _SAMPLES if lot <= most), _LARGEST_SAMPLE) or max(
        lot, 1
    )


def mav_ng(label_ng: int) -> int:
    """The maximum allowable variation for a label. Raises OutsideTable above 1120 g."""
    for above, up_to, mav in _steps():
        if above < label_ng <= up_to:
            return mav
    if 0 < label_ng <= _steps()[0][0]:
        return math.floor(label_ng * SMALL_SHARE)
    raise OutsideTable(
        f"The table of variations reaches from above 0 to {_steps()[-1][1] // NG_PER_G} g.",
        field="label",
    )


def largest_division(mav: Fraction | int) -> Fraction:
    """The largest division of a scale fit to check a package of that MAV, in the MAV's unit."""
    return Fraction(mav) / DIVISIONS_OF_MAV


def usable_division(largest: Fraction) -> Fraction:
    """The next division that scales are made with (1, 2 or 5 x a power of ten), not above it."""
    power = Fraction(10) ** math.floor(math.log10(largest))
    return max(step * power for step in (1, 2, 5, 10) if step * power <= largest)


def label_weight(
    sample: Sample, *, confidence: Decimal, inspected: int, step_ng: int
) -> LabelWeight:
    """The largest label, in whole steps, that satisfies both requirements.

    The average requirement allows the mean less the sampling correction (an inspector adds it in
    the packer's favor; a packer who wants to be sure takes it off); the individual one as
    much as leaves neither the lightest bar of the sample nor the expected lightest of those that
    an inspector weighs short by more than the label's MAV. Raises InvalidInput when not even one
    step is left, OutsideTable above 1120 g.
    """
    _check_request(confidence, inspected, step_ng)
    mean = math.floor(sample.mean)
    off_mean = math.ceil(sample.deviation * correction_factor(sample.count, confidence=confidence))
    factor = floor_factor(sample.count, confidence=confidence, inspected=inspected)
    average_bound = mean - max(off_mean, 0)
    floor = min(sample.lightest, mean - max(math.ceil(sample.deviation * factor), 0))
    if average_bound > _steps()[-1][1]:
        mav_ng(average_bound)  # refuses: nothing is extrapolated
    by_average = max(average_bound // step_ng * step_ng, 0)
    by_individual = _largest_label(_steps()[-1][1], floor, step_ng)
    label = _largest_label(average_bound, floor, step_ng)
    if label <= 0:
        raise InvalidInput(
            "These bars differ so much, or weigh so little, that no label weight is safe.",
            field="weights",
        )
    mav = mav_ng(label)
    return LabelWeight(
        label=label,
        by_average=by_average,
        by_individual=by_individual,
        binds=_binding(label, by_average, by_individual),
        average_bound=average_bound,
        individual_floor=floor,
        mav=mav,
        largest_division=math.floor(largest_division(mav)),
    )


@cache
def _steps() -> tuple[tuple[int, int, int], ...]:
    """Rows (above, up to, MAV) of the table in ng, in order; below the first it is 10 %."""
    return tuple((_ng(above), _ng(up_to), _ng(mav)) for above, up_to, mav in tables.rows(TABLE)[1:])


def _ng(grams: str) -> int:
    return int(Decimal(grams) * NG_PER_G)


def _largest_label(most: int, floor: int, step_ng: int) -> int:
    """The largest whole-step label up to `most` whose label - MAV is not above `floor`; or 0.

    The MAV rises in steps, so a label just above a step may be allowed where one below is not:
    every row of the table is asked, from the top.
    """
    if floor <= 0:
        return 0
    for above, up_to, mav in reversed(_steps()):
        label = min(most, up_to, floor + mav) // step_ng * step_ng
        if label > above:
            return label
    label = min(most, _steps()[0][0], math.floor(floor / (1 - SMALL_SHARE))) // step_ng * step_ng
    while label > 0 and label - mav_ng(label) > floor:  # the MAV of a small label is rounded down
        label -= step_ng
    return max(label, 0)


def _binding(label: int, by_average: int, by_individual: int) -> Requirement:
    if by_average == by_individual == label:
        return Requirement.BOTH
    if label == by_average:
        return Requirement.AVERAGE
    return Requirement.INDIVIDUAL


def _check_request(confidence: Decimal, inspected: int, step_ng: int) -> None:
    faults = Faults()
    if not Decimal("0.5") < confidence < 1:
        faults.add("outside-range", "A confidence is above 50 % and below 100 %.", "confidence")
    if inspected < 1:
        faults.add("not-positive", "At least one bar is inspected.", "inspected")
    if step_ng <= 0:
        faults.add("not-positive", "A step is above zero.", "step")
    faults.raise_if_any(InvalidInput)
