"""Which method of forecasting would have erred least: the back-test over past periods.

The origin of the forecast rolls through the history one period at a time: each tested period is
forecast from the periods before it alone (Tashman, "Out-of-sample tests of forecasting accuracy",
International Journal of Forecasting 16 (2000), 437-450). All methods are tested on the same
periods of a material.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inventory.domain.buying.forecasting import (
    Candidate,
    Floats,
    Whole,
    average,
    candidates,
    first_use,
)

#: Periods a method sees before it is tested, and tests below which none is preferred.
WARM_UP = 4
FEWEST_TESTS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """How a method erred in `tested` periods, in the unit of the history.

    With e = actual - forecast: `mae` the mean of |e|, `bias` the mean of e (above zero: too little
    was forecast), `rmse` the root of the mean of e squared. `mase` is the MAE over the mean change
    from period to period of the whole history (Hyndman and Koehler, "Another look at measures of
    forecast accuracy", International Journal of Forecasting 22 (2006), 679-688); None when nothing
    ever changed. All are None when nothing was tested.
    """

    tested: int
    mae: float | None = None
    mase: float | None = None
    bias: float | None = None
    rmse: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """What is expected in each period to come, by which method, and how well that did before.

    `coming` repeats: one value for all periods, or a season of them. `periods` is how many the
    material was there for, `mean` and `sd` (None below two) are of their use.
    """

    method: str
    constants: str
    coming: tuple[float, ...]
    periods: int
    mean: float
    sd: float | None
    errors: Errors

    def over(self, periods: int) -> list[float]:
        """The forecasts of so many periods to come."""
        return [self.coming[index % len(self.coming)] for index in range(periods)]

    @property
    def is_known(self) -> bool:
        """Whether anything was used in the history: without, its use is not known, and not 0."""
        return self.mean > 0

    @property
    def known_rate(self) -> float | None:
        """The mean use of a period to come, None where use is not known."""
        return self.rate if self.is_known else None

    @property
    def known_mean(self) -> float | None:
        """The mean use of a period of the history, None where use is not known."""
        return self.mean if self.is_known else None

    @property
    def known_sd(self) -> float | None:
        """The standard deviation of that use, None where use is not known, or of one period."""
        return self.sd if self.is_known else None

    @property
    def is_tested(self) -> bool:
        """Whether enough periods were tested to say how much is used at most."""
        return self.is_known and self.errors.tested >= FEWEST_TESTS

    @property
    def rate(self) -> float:
        """The mean use of a period to come."""
        return sum(self.coming) / len(self.coming)

    @property
    def spread(self) -> float:
        """The standard deviation to keep safety for: of the forecast's errors, else of the use."""
        return self.errors.rmse if self.errors.rmse is not None else (self.sd or 0.0)


def forecast_all(history: Floats, started: Whole, *, season: int) -> list[Forecast]:
    """A forecast for each material, by the method with the least root mean squared error.

    Squared errors are compared, not absolute ones: the least absolute error is at the median,
    which is zero for what is used now and then, while stock must cover the mean (Hyndman and
    Athanasopoulos (2021), section 5.8). The seasonal method takes part with two whole seasons or
    more. With fewer than `FEWEST_TESTS` tested periods the mean is taken. The error shown is that
    of the chosen method in the periods it was chosen by, so it is a little too good.
    """
    chosen, fits = _choose(history, started, season=season)
    means, deviations = _use(history, started)
    periods = history.shape[1]
    forecasts = []
    for row in range(len(history)):
        candidate, fitted, errors = fits[chosen[row]]
        coming = [float(fitted[row, periods])]
        if candidate.season:
            coming = [float(each) for each in history[row, periods - candidate.season :]]
        forecasts.append(
            Forecast(
                method=candidate.method,
                constants=candidate.constants,
                coming=tuple(coming),
                periods=int(max(periods - started[row], 0)),
                mean=float(means[row]),
                sd=None if math.isnan(deviations[row]) else float(deviations[row]),
                errors=errors.of(row),
            )
        )
    return forecasts


@dataclass(frozen=True, slots=True)
class _Measured:
    """The errors of one method for all materials."""

    tested: Whole
    mae: Floats
    mase: Floats
    bias: Floats
    rmse: Floats

    def of(self, row: int) -> Errors:
        tested = int(self.tested[row])
        if tested == 0:
            return Errors(tested=0)
        scaled = float(self.mase[row])
        return Errors(
            tested=tested,
            mae=float(self.mae[row]),
            mase=scaled if math.isfinite(scaled) else None,
            bias=float(self.bias[row]),
            rmse=float(self.rmse[row]),
        )


def _choose(
    history: Floats, started: Whole, *, season: int
) -> tuple[Whole, Sequence[tuple[Candidate, Floats, _Measured]]]:
    """The index of the best method of each material, and every method with its errors."""
    periods = history.shape[1]
    seasonal = periods - started >= 2 * season
    begins = np.maximum(started + WARM_UP, first_use(history, started) + 1)
    begins = np.where(seasonal, np.maximum(begins, started + season), begins)
    window = np.arange(periods) >= begins[:, None]
    scale = _mean_change(history, started)
    fits = []
    for candidate in candidates(season):
        fitted = candidate.fit(history, started)
        fits.append((candidate, fitted, _measure(history, fitted, window, scale)))
    ranked = np.stack(
        [
            np.where(seasonal | (candidate.season == 0), measured.rmse, np.inf)
            for candidate, _, measured in fits
        ]
    )
    best = ranked.argmin(axis=0).astype(np.int64)
    # The mean is the first candidate.
    return np.where(window.sum(axis=1) >= FEWEST_TESTS, best, 0), fits


def _measure(
    history: Floats, fitted: Floats, window: NDArray[np.bool_], scale: Floats
) -> _Measured:
    error = np.where(window, history - fitted[:, :-1], 0)
    tested = window.sum(axis=1)
    count = np.maximum(tested, 1)
    mae = np.abs(error).sum(axis=1) / count
    with np.errstate(divide="ignore", invalid="ignore"):
        scaled = mae / scale
    return _Measured(
        tested=tested.astype(np.int64),
        mae=mae,
        mase=scaled,
        bias=error.sum(axis=1) / count,
        rmse=np.sqrt((error**2).sum(axis=1) / count),
    )


def _mean_change(history: Floats, started: Whole) -> Floats:
    """The mean change from one period to the next: the scale of the scaled error."""
    periods = history.shape[1]
    later = np.arange(1, max(periods, 1)) > started[:, None]
    changes = np.where(later, np.abs(np.diff(history, axis=1)), 0)
    total: Floats = changes.sum(axis=1) / np.maximum(later.sum(axis=1), 1)
    return total


def _use(history: Floats, started: Whole) -> tuple[Floats, Floats]:
    """Mean and sample standard deviation of the use of a period; not a number below two."""
    periods = history.shape[1]
    present = np.arange(periods) >= started[:, None]
    count = present.sum(axis=1)
    means = average(history, started)[:, -1]
    squares = np.where(present, (history - means[:, None]) ** 2, 0).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        deviations = np.sqrt(squares / (count - 1))
    return means, np.where(count > 1, deviations, np.nan)
