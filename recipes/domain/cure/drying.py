"""The cure by weight: a drying curve through weighings of sample bars, and when it is flat enough.

First-order drying, w(t) = w_end + (w_start - w_end) exp(-k t): what is still to be lost goes at a
rate in proportion to itself (the thin-layer equation of W. K. Lewis, The rate of drying of solid
materials, J. Ind. Eng. Chem. 13, 1921, 427, from memory). That a bar is cured once it loses less
than about 1 % a week, and 4 to 6 weeks without a scale, is common practice without a source.
"""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import numpy as np

from recipes.domain.cure.exponential import Approach, fit_approach

WEEK = 7
#: A curve needs so many different days; a band needs one more.
FEWEST_DAYS = 3
#: Ten years: nothing cures or steeps for longer, and nothing is predicted further ahead.
LONGEST_DAYS = 3650
MOST_POINTS = 120
#: A fall that chance alone gives with this probability or more is not taken for drying.
_CHANCE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class BarWeighing:
    """One sample bar (by its number) on one day."""

    on: date
    bar: int
    weight_ng: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DayMean:
    """The mean weight in ng of the sample on one day, and of how many bars."""

    on: date
    weight_ng: int
    bars: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NoCurve:
    """Why no curve was drawn: a stable code, and words for the maker."""

    code: str
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StableDate:
    """The first day after which a week loses no more than the limit.

    `low` and `high` bound it at the confidence asked for; None without a band.
    """

    on: date
    low: date | None
    high: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """The curve on one day in ng, with its band where there is one."""

    on: date
    weight_ng: int
    low_ng: int | None
    high_ng: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DryingCurve:
    """A fitted curve; `approach` is in ng and days since `since`, the day of the first weighing."""

    since: date
    approach: Approach
    means: tuple[DayMean, ...]

    def weight_ng(self, on: date) -> int:
        """Predicted mean weight of a sample bar in ng."""
        return round(self.approach.at(self._day(on)))

    def point(self, on: date, *, confidence: float) -> CurvePoint:
        """The curve on a day, with the band of the mean (two-sided)."""
        weight = self.weight_ng(on)
        half = self.approach.half_width(self._day(on), confidence=confidence)
        if half is None or not math.isfinite(half):
            return CurvePoint(on=on, weight_ng=weight, low_ng=None, high_ng=None)
        off = round(half)
        return CurvePoint(
            on=on, weight_ng=weight, low_ng=max(weight - off, 0), high_ng=weight + off
        )

    def left(self, weighed_on: date, sale_on: date, *, confidence: float) -> Fraction:
        """What is left on the sale date of the weight of the day of weighing, as a share up to 1.

        The one-sided lower bound at `confidence` where the curve has a band (delta method on the
        ratio, in which the errors that both days share cancel), else what the curve says.
        """
        then, now = (self.approach.at(self._day(on)) for on in (sale_on, weighed_on))
        ratio = then / now
        slopes = self.approach.slopes(self._day(sale_on))
        slopes = (slopes - ratio * self.approach.slopes(self._day(weighed_on))) / now
        # Two-sided bounds of 2c - 1 leave 1 - c below the lower one.
        half = self.approach.half_width_of(slopes, confidence=2 * confidence - 1)
        if half is not None and math.isfinite(half):
            ratio -= half
        return min(max(Fraction(ratio).limit_denominator(10**9), Fraction(0)), Fraction(1))

    def stable_date(self, *, limit: Decimal, confidence: float) -> StableDate | None:
        """When the loss of the coming week falls to `limit` (a share of the weight).

        Solved for t from x (1 - q) / (w_end + x) = limit, with x = (w_start - w_end) exp(-k t) and
        q = exp(-7 k). None when that is more than ten years ahead.
        """
        share, curve = float(limit), self.approach
        left = 1 - math.exp(-WEEK * curve.rate) - share
        if left <= 0:  # even all that is left to lose goes in slowly enough
            return StableDate(on=self.since, low=None, high=None)
        above = curve.start - curve.end
        day = math.log(above * left / (share * curve.end)) / curve.rate
        if day > LONGEST_DAYS:
            return None
        slopes = np.array(
            [
                -(1 / above + 1 / curve.end) / curve.rate,
                1 / above / curve.rate,
                (WEEK * math.exp(-WEEK * curve.rate) / left - day) / curve.rate,
            ]
        )
        half = curve.half_width_of(slopes, confidence=confidence)
        on = self.since + timedelta(days=_whole(day))
        if half is None or not math.isfinite(half):
            return StableDate(on=on, low=None, high=None)
        return StableDate(
            on=on,
            low=self.since + timedelta(days=_whole(day - half)),
            high=self.since + timedelta(days=_whole(day + half)),
        )

    def series(self, until: date, *, confidence: float) -> tuple[CurvePoint, ...]:
        """Points for a chart from the first weighing to `until`, a day or more apart."""
        days = max((until - self.since).days, 1)
        step = -(-days // (MOST_POINTS - 1))
        return tuple(
            self.point(self.since + timedelta(days=day), confidence=confidence)
            for day in (*range(0, days, step), days)
        )

    def _day(self, on: date) -> int:
        """Days since the first weighing; before it nothing is known, so the curve begins there."""
        return max((on - self.since).days, 0)


def day_means(weighings: Sequence[BarWeighing]) -> tuple[DayMean, ...]:
    """The mean weight of each day, rounded half to even, in order.

    Of the bars weighed on every day, so that a heavy bar left out one day does not look like
    drying; of all bars where no bar was weighed on every day.
    """
    by_day: dict[date, dict[int, int]] = defaultdict(dict)
    for one in weighings:
        by_day[one.on][one.bar] = one.weight_ng
    kept = set.intersection(*(set(bars) for bars in by_day.values())) if by_day else set()
    means = []
    for on in sorted(by_day):
        weights = [weight for bar, weight in by_day[on].items() if not kept or bar in kept]
        mean = round(sum(weights) / len(weights))
        means.append(DayMean(on=on, weight_ng=mean, bars=len(weights)))
    return tuple(means)


def fit_drying(weighings: Sequence[BarWeighing]) -> DryingCurve | NoCurve:
    """The drying curve of sample bars, or why there is none. Never raises on odd weights."""
    means = day_means(weighings)
    if len(means) < FEWEST_DAYS:
        return NoCurve(
            code="too-few-days",
            message=f"A curve needs weighings on {FEWEST_DAYS} different days; "
            f"there are {len(means)}.",
        )
    since = means[0].on
    weights = [float(mean.weight_ng) for mean in means]
    if weights[-1] >= weights[0]:
        return NoCurve(code="no-loss", message="The bars did not lose weight so far.")
    found = fit_approach([(mean.on - since).days for mean in means], weights)
    if found is None or found.end <= 0 or found.start <= found.end or _is_chance(found, weights):
        return NoCurve(
            code="no-curve",
            message="No drying curve fits these weights: they fall evenly, or scatter too much. "
            "Weigh again in a week.",
        )
    return DryingCurve(since=since, approach=found, means=means)


def _is_chance(found: Approach, weights: Sequence[float]) -> bool:
    """Whether scatter alone explains the curve: the F test against the plain mean."""
    from scipy.special import fdtrc  # noqa: PLC0415 - slow to load, and rarely needed

    if not found.freedom or not found.residuals:
        return False
    mean = sum(weights) / len(weights)
    explained = sum((weight - mean) ** 2 for weight in weights) - found.residuals
    ratio = (explained / 2) / (found.residuals / found.freedom)
    return not float(fdtrc(2, found.freedom, max(ratio, 0.0))) < _CHANCE


def _whole(day: float) -> int:
    return min(max(math.ceil(day - 1e-9), 0), LONGEST_DAYS)


def left_without_curve(
    *, loss_share: Decimal, cure_days: int, weighed_day: int, sale_day: int
) -> Fraction:
    """What a bar of `weighed_day` still weighs on `sale_day` (days since the pour), as a share.

    By the recipe's loss of the poured weight, spread evenly over the cure days. Soap dries faster
    at first, so this expects more loss than there will be, and errs to a lower weight.
    """

    def weight(day: int) -> Fraction:
        past = Fraction(min(max(day, 0), cure_days), cure_days) if cure_days else Fraction(1)
        return 1 - Fraction(loss_share) * past

    return min(weight(sale_day) / weight(weighed_day), Fraction(1))
