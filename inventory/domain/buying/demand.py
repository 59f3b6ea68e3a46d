"""Demand to come: what is known of it by date, and what experience adds where little is known.

Known demand are dated requirements, whoever wrote them (planned batches, what they need on the
way, orders of customers) and what is reserved. A forecast tells of the same future from the other
side, so the two must not be added up: see `beyond_known`.
"""

from collections.abc import Sequence
from enum import StrEnum

import numpy as np

from inventory.domain.buying.forecasting import Floats, Whole
from studio.foundation.errors import InvalidInput

#: No sum is counted beyond this, an eighth of what a 64-bit integer holds, so that sums of the
#: five flows of a projection stay exact: 1,152 t of what is weighed.
MOST_COUNTED = 2**60


class Period(StrEnum):
    """The length of the periods in which past use is counted."""

    DAY = "day"
    WEEK = "week"

    @property
    def days(self) -> int:
        """Days of one period."""
        return 1 if self is Period.DAY else 7

    @property
    def season(self) -> int:
        """Periods after which use may repeat: a week of days, a year of weeks."""
        return 7 if self is Period.DAY else 52


def whole_periods(days: int, period: Period) -> int:
    """How many periods it takes to reach over so many days."""
    return -(-days // period.days)


def counted(amounts: Sequence[int]) -> Whole:
    """Amounts as exact 64-bit integers. Raises InvalidInput for one too large to be counted."""
    if any(abs(amount) > MOST_COUNTED for amount in amounts):
        raise InvalidInput("An amount is too large to be projected.")
    return np.array(amounts, dtype=np.int64)


def beyond_known(known: Whole, forecast: Floats, *, period: Period) -> Whole:
    """What the forecast adds to known demand, day by day (materials by days).

    The rule: in each period the larger of the two counts. Planned batches use up the forecast of
    their period, since they are the use that was forecast; what of it they leave is spread evenly
    over the days of the period. So nothing counts twice, and an empty plan is no reason to expect
    that nothing will be used. It is the usual consumption of forecasts by orders within a period
    (Vollmann, Berry, Whybark and Jacobs, "Manufacturing Planning and Control Systems", 5th ed.
    (2005), chapter 6; the chapter from memory).

    `known` has whole periods of days. `forecast` is by period, in stock units; its running sum is
    rounded, so that fractions of a piece are not lost.
    """
    rows, days = known.shape
    length = period.days
    planned = known.reshape(rows, days // length, length).sum(axis=2)
    until = np.rint(np.cumsum(np.maximum(forecast, 0), axis=1))
    if until.size and until[:, -1].max() > MOST_COUNTED:
        raise InvalidInput("A forecast is too large to be projected.")
    expected = np.diff(until.astype(np.int64), axis=1, prepend=0)
    left = np.maximum(expected - planned, 0)
    whole, rest = np.divmod(left, length)
    day = np.arange(1, length + 1)
    # The rest is less than a period's days, so these products are small.
    steps = np.diff(rest[:, :, None] * day // length, axis=2, prepend=0)
    spread: Whole = (whole[:, :, None] + steps).reshape(rows, days)
    return spread
