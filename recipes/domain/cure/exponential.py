"""The exponential approach to an end, y(x) = end + (start - end) exp(-rate x), fitted to points.

Least squares within bounds by scipy's trust-region method. The uncertainty is the usual linear one
of nonlinear regression: s^2 (J'J)^-1 and Student's t (D. M. Bates and D. G. Watts, Nonlinear
Regression Analysis and Its Applications, 1988, chapter 2, from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Vector: TypeAlias = NDArray[np.float64]

#: Rates are sought between these, as a number of e-foldings over the span of x.
SLOWEST, FASTEST = 1e-3, 1e3
_FIRST_GUESSES = 49
_TOLERANCE = 1e-14


@dataclass(frozen=True, slots=True, kw_only=True)
class Approach:
    """A fitted curve. `rate` is by one unit of x; `residuals` is the sum of their squares.

    `covariance` is that of (end, start, rate), zero for a start that was known; None where no more
    points than parameters were given, so that nothing is known of the scatter.
    """

    end: float
    start: float
    rate: float
    residuals: float
    freedom: int
    covariance: Vector | None

    def at(self, x: float) -> float:
        """The curve at x."""
        return self.end + (self.start - self.end) * math.exp(-self.rate * x)

    def slopes(self, x: float) -> Vector:
        """By how much the curve at x changes with end, start and rate."""
        left = math.exp(-self.rate * x)
        return np.array([1 - left, left, -x * (self.start - self.end) * left])

    def half_width(self, x: float, *, confidence: float) -> float | None:
        """Half the width of the two-sided band for the mean at x. None without a covariance."""
        return self.half_width_of(self.slopes(x), confidence=confidence)

    def half_width_of(self, slopes: Vector, *, confidence: float) -> float | None:
        """The same for any quantity, by its slopes with end, start and rate (delta method)."""
        if self.covariance is None:
            return None
        # scipy takes a fifth of a second to load, which most processes never need.
        from scipy.special import stdtrit  # noqa: PLC0415

        variance = float(slopes @ self.covariance @ slopes)
        quantile = float(stdtrit(self.freedom, (1 + confidence) / 2))
        return quantile * math.sqrt(max(variance, 0.0))


def fit_approach(
    x: Sequence[float], y: Sequence[float], *, start: float | None = None
) -> Approach | None:
    """The curve of least squares through points, from a known `start` at x = 0 or a fitted one.

    None when there is no such curve: fewer points than parameters, all x or all y equal, numbers
    that are not finite, or points that bend so little (or so sharply) that the rate runs into the
    bounds of the search.
    """
    xs, ys = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    unknown = 3 if start is None else 2
    if len(set(xs.tolist())) < unknown or not (np.isfinite(xs).all() and np.isfinite(ys).all()):
        return None
    span, size = float(np.ptp(xs)), float(np.abs(ys).max())
    if float(np.ptp(ys)) <= 1e-12 * size:
        return None
    known = None if start is None else start / size
    scaled = _least_squares(xs / span, ys / size, known)
    if scaled is None:
        return None
    end, first, rate = scaled
    return _measured(xs, ys, (end * size, first * size, rate / span), known_start=start is not None)


def _least_squares(
    xs: Vector, ys: Vector, start: float | None
) -> tuple[float, float, float] | None:
    """End, start and rate in scaled units, from the best of a row of rates."""
    from scipy.optimize import least_squares  # noqa: PLC0415 - as above

    rates = np.geomspace(SLOWEST, FASTEST, _FIRST_GUESSES)
    guesses = [_given_rate(xs, ys, float(rate), start) for rate in rates]
    best = min(range(len(guesses)), key=lambda index: guesses[index][0])
    if best in (0, len(guesses) - 1):
        return None
    _, end, first = guesses[best]
    guess = (
        [end, math.log(rates[best])] if start is not None else [end, first, math.log(rates[best])]
    )

    def residuals(parameters: Vector) -> Vector:
        first = parameters[1] if start is None else start
        left = np.exp(-np.exp(parameters[-1]) * xs)
        off: Vector = parameters[0] + (first - parameters[0]) * left - ys
        return off

    low, high = np.full(len(guess), -np.inf), np.full(len(guess), np.inf)
    low[-1], high[-1] = math.log(SLOWEST), math.log(FASTEST)
    try:
        found = least_squares(
            residuals,
            guess,
            bounds=(low, high),
            x_scale="jac",
            ftol=_TOLERANCE,
            xtol=_TOLERANCE,
            gtol=_TOLERANCE,
        )
    except (ValueError, np.linalg.LinAlgError):  # numbers beyond what floats can tell apart
        return None
    if bool(found.active_mask[-1]) or not np.isfinite(found.x).all():
        return None
    first = float(found.x[1]) if start is None else start
    return float(found.x[0]), first, math.exp(float(found.x[-1]))


def _given_rate(
    xs: Vector, ys: Vector, rate: float, start: float | None
) -> tuple[float, float, float]:
    """With the rate fixed the rest is linear: the sum of squares, end and start."""
    left = np.exp(-rate * xs)
    if start is None:
        columns, wanted = np.column_stack([1 - left, left]), ys
    else:
        columns, wanted = (1 - left)[:, np.newaxis], ys - start * left
    solution = np.linalg.lstsq(columns, wanted, rcond=None)[0]
    off = columns @ solution - wanted
    return float(off @ off), float(solution[0]), float(solution[1] if start is None else start)


def _measured(
    xs: Vector, ys: Vector, found: tuple[float, float, float], *, known_start: bool
) -> Approach:
    """The curve with its residuals and covariance, in the units of the points."""
    bare = Approach(
        end=found[0], start=found[1], rate=found[2], residuals=0, freedom=0, covariance=None
    )
    off = np.array([bare.at(float(x)) for x in xs]) - ys
    fitted = [0, 2] if known_start else [0, 1, 2]
    freedom = len(xs) - len(fitted)
    residuals = float(off @ off)
    slopes = np.array([bare.slopes(float(x)) for x in xs])[:, fitted]
    return Approach(
        end=bare.end,
        start=bare.start,
        rate=bare.rate,
        residuals=residuals,
        freedom=freedom,
        covariance=_covariance(slopes, residuals / freedom, fitted) if freedom > 0 else None,
    )


def _covariance(slopes: Vector, variance: float, fitted: Sequence[int]) -> Vector | None:
    scale = np.linalg.norm(slopes, axis=0)
    if not (scale > 0).all():
        return None
    try:
        inverse = np.linalg.inv((slopes / scale).T @ (slopes / scale))
    except np.linalg.LinAlgError:
        return None
    whole = np.zeros((3, 3))
    whole[np.ix_(fitted, fitted)] = variance * inverse / np.outer(scale, scale)
    return whole
