"""Forecasts of what will be used, from what was used in past periods, for many materials at once.

A history is a matrix of materials by periods, oldest first; `started` is the period in which each
material was first there, and what stands before it is not read. Each method answers one column
more than the history has: column t is the forecast for period t made from the periods before it,
the last one is for the period to come. Forecasts are estimates, so they are floats.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from studio.foundation.errors import InvalidInput

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Fit = Callable[[Floats, Whole], Floats]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A method with its constants, as it takes part in a comparison.

    `season` is 0 for a method whose forecast is the same for all periods to come.
    """

    method: str
    constants: str
    fit: Fit
    season: int = 0


def average(history: Floats, started: Whole) -> Floats:
    """The arithmetic mean of all periods so far.

    Source: Hyndman and Athanasopoulos, "Forecasting: Principles and Practice", 3rd ed. (2021),
    section 5.2 (mean method). Nothing used before a material was there is 0.
    """
    rows, periods = history.shape
    present = np.arange(periods) >= started[:, None]
    sums = np.cumsum(np.where(present, history, 0), axis=1)
    counts = np.maximum(np.cumsum(present, axis=1), 1)
    return np.concatenate([np.zeros((rows, 1)), sums / counts], axis=1)


def exponential_smoothing(history: Floats, started: Whole, *, alpha: float) -> Floats:
    """Simple exponential smoothing: F(t+1) = alpha y(t) + (1 - alpha) F(t).

    The first value is its own forecast, and that of the second period. Source: Brown,
    "Statistical Forecasting for Inventory Control" (1959); Hyndman and Athanasopoulos (2021),
    section 8.1. Raises InvalidInput unless 0 < alpha <= 1.
    """
    _check_constants(alpha)
    rows, periods = history.shape
    fitted = np.zeros((rows, periods + 1))
    level = np.zeros(rows)
    for period in range(periods):
        actual = history[:, period]
        level = np.where(period == started, actual, level)
        fitted[:, period] = level
        level = np.where(period >= started, alpha * actual + (1 - alpha) * level, level)
    fitted[:, periods] = level
    return fitted


def croston(history: Floats, started: Whole, *, alpha: float, beta: float) -> Floats:
    """Croston's method for intermittent demand: smoothed size / smoothed interval.

    Both change only after a period with demand: size by alpha, interval by beta. They begin with
    the first size, and the periods until it; before it the forecast is 0. Source: Croston,
    "Forecasting and stock control for intermittent demands", Operational Research Quarterly 23
    (1972), 289-303. Raises InvalidInput unless 0 < alpha, beta <= 1.
    """
    _check_constants(alpha, beta)
    rows, periods = history.shape
    fitted = np.zeros((rows, periods + 1))
    size, interval, since = np.zeros(rows), np.ones(rows), np.zeros(rows)
    seen = np.zeros(rows, dtype=bool)
    for period in range(periods):
        fitted[:, period] = size / interval
        actual = history[:, period]
        present = period >= started
        since = np.where(present, since + 1, 0)
        sale = present & (actual > 0)
        size = np.where(sale, np.where(seen, alpha * actual + (1 - alpha) * size, actual), size)
        smoothed = beta * since + (1 - beta) * interval
        interval = np.where(sale, np.where(seen, smoothed, since), interval)
        since = np.where(sale, 0, since)
        seen |= sale
    fitted[:, periods] = size / interval
    return fitted


def tsb(history: Floats, started: Whole, *, alpha: float, beta: float) -> Floats:
    """Teunter, Syntetos and Babai: smoothed size x smoothed probability of demand.

    The probability changes in each period by beta, so a material that is no longer used fades
    out; the size changes by alpha after a period with demand. They begin with the first size, and
    one in the periods until it. Source: Teunter, Syntetos and Babai, "Intermittent demand: linking
    forecasting to inventory obsolescence", European Journal of Operational Research 214 (2011),
    606-615. Raises InvalidInput unless 0 < alpha, beta <= 1.
    """
    _check_constants(alpha, beta)
    rows, periods = history.shape
    fitted = np.zeros((rows, periods + 1))
    first = first_use(history, started)
    used = first < periods
    size = np.zeros(rows)
    size[used] = history[used, first[used]]
    probability = np.where(used, 1 / np.maximum(first - started + 1, 1), 0.0)
    for period in range(periods):
        fitted[:, period] = size * probability
        actual = history[:, period]
        present = period >= started
        sale = present & (actual > 0)
        moved = beta * sale + (1 - beta) * probability
        probability = np.where(present, moved, probability)
        size = np.where(sale, alpha * actual + (1 - alpha) * size, size)
    fitted[:, periods] = size * probability
    return fitted


def seasonal_naive(history: Floats, started: Whole, *, season: int) -> Floats:
    """What was used one season of `season` periods before; not a number where there is none.

    Source: Hyndman and Athanasopoulos (2021), section 5.2 (seasonal naive method). Raises
    InvalidInput for a season below 1.
    """
    if season < 1:
        raise InvalidInput("A season has one period or more.", field="season")
    rows, periods = history.shape
    fitted = np.full((rows, periods + 1), np.nan)
    if season <= periods:
        before = np.arange(periods + 1 - season)
        known = before >= started[:, None]
        fitted[:, season:] = np.where(known, history[:, : periods + 1 - season], np.nan)
    return fitted


def first_use(history: Floats, started: Whole) -> Whole:
    """The first period with demand of each material; the number of periods when there is none."""
    periods = history.shape[1]
    used = (history > 0) & (np.arange(periods) >= started[:, None])
    if periods == 0:
        return np.zeros(len(history), dtype=np.int64)
    found: Whole = np.where(used.any(axis=1), used.argmax(axis=1), periods).astype(np.int64)
    return found


def candidates(season: int) -> tuple[Candidate, ...]:
    """The methods that are compared, the simplest first: it wins a tie.

    The smoothing constants are those of common practice, 0.1 to 0.3 (Silver, Pyke and Thomas,
    "Inventory and Production Management in Supply Chains", 4th ed. (2017), chapter 3; the
    range from memory).
    """
    smoothing = [
        Candidate(
            "exponential smoothing",
            f"alpha {alpha}",
            partial(exponential_smoothing, alpha=alpha),
        )
        for alpha in (0.1, 0.2, 0.3)
    ]
    intermittent = [
        Candidate(name, f"alpha {alpha}, beta {beta}", partial(fit, alpha=alpha, beta=beta))
        for name, fit in (("Croston", croston), ("Teunter-Syntetos-Babai", tsb))
        for alpha, beta in ((0.1, 0.1), (0.2, 0.1))
    ]
    seasonal = Candidate(
        "seasonal naive",
        f"season {season}",
        partial(seasonal_naive, season=season),
        season=season,
    )
    return (Candidate("mean", "", average), *smoothing, *intermittent, seasonal)


def _check_constants(*constants: float) -> None:
    if not all(0 < constant <= 1 for constant in constants):
        raise InvalidInput("A smoothing constant is above 0 and at most 1.")
