"""How far the cost of a bar goes up and down from batch to batch."""

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Of n costs (ten-thousandths): mean, lowest, highest, median, and standard deviation.

    `deviation` is the sample standard deviation (n - 1 in the denominator), None of one cost.
    """

    count: int
    mean: Fraction
    lowest: int
    highest: int
    median: Fraction
    deviation: float | None


def spread_of(costs: Sequence[int]) -> Spread | None:
    """The spread of costs; None of none."""
    if not costs:
        return None
    exact = [Fraction(cost) for cost in costs]
    return Spread(
        count=len(costs),
        mean=statistics.mean(exact),
        lowest=min(costs),
        highest=max(costs),
        median=statistics.median(exact),
        deviation=statistics.stdev(costs) if len(costs) > 1 else None,
    )
