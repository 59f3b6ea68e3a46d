"""A program of whole numbers, stated exactly and solved by HiGHS (through scipy).

The solver computes in floating point, to tolerances. So that its answers can be relied on, every
row is kept in exact integers and every answer is checked against them: one that breaks a row by
less than the tolerances is forbidden by a cut and the solver asked again.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from studio.foundation.errors import InvalidInput

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult

#: Doubles hold every integer up to here, so sums of costs below it are exact in the solver too.
MOST_COST = 2**53
#: Rows are handed over divided down until no factor is larger; an answer is checked exactly.
_LARGEST_FACTOR = 2.0**14
#: One ten-thousandth must stay well above the solver's absolute gap of 1e-6.
_MOST_HALVINGS = 16
_MOST_CUTS = 50
_OPTIMAL, _TIME_OUT, _INFEASIBLE = 0, 1, 2
Terms = Mapping[int, int]


class Proof(StrEnum):
    """What a solver's answer is worth."""

    OPTIMAL = "optimal"
    TIME_OUT = "time-out"
    INFEASIBLE = "infeasible"


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """Values by column (None when none were found) and a bound that no answer's cost is below."""

    proof: Proof
    values: tuple[int, ...] | None = None
    cost: int | None = None
    bound: int | None = None


@dataclass(frozen=True, slots=True)
class _Row:
    """terms >= least, in whole numbers."""

    terms: Terms
    least: int

    def holds(self, values: tuple[int, ...]) -> bool:
        return sum(factor * values[column] for column, factor in self.terms.items()) >= self.least


@dataclass(slots=True)
class Program:
    """Columns are whole numbers from 0 to `upper`; the sum of their costs is made smallest."""

    constant: int = 0
    _costs: list[int] = field(default_factory=list)
    _uppers: list[int] = field(default_factory=list)
    _rows: list[_Row] = field(default_factory=list)

    def column(self, *, cost: int = 0, upper: int = 1) -> int:
        """Add a whole number from 0 to `upper` and return its index."""
        self._costs.append(cost)
        self._uppers.append(upper)
        return len(self._costs) - 1

    def at_least(self, terms: Terms, least: int) -> None:
        """Require the sum of factor x column to be at least so much."""
        self._rows.append(_Row(terms, least))

    def at_most(self, terms: Terms, most: int) -> None:
        """Require the sum of factor x column to be at most so much."""
        self.at_least({column: -factor for column, factor in terms.items()}, -most)

    def upper(self, column: int) -> int:
        """The most that a column may be."""
        return self._uppers[column]

    def solve(self, *, time_limit: float) -> Answer:
        """The smallest cost, or the best found within so many seconds.

        Raises InvalidInput when costs could add up to more than 2^53 ten-thousandths, beyond which
        the solver's numbers are no longer exact.
        """
        most = sum(abs(c) * u for c, u in zip(self._costs, self._uppers, strict=True))
        if most > MOST_COST:
            raise InvalidInput("The prices and amounts are too large to be planned exactly.")
        if not self._costs:
            feasible = all(row.least <= 0 for row in self._rows)
            return self._whole((), None) if feasible else Answer(proof=Proof.INFEASIBLE)
        for _ in range(_MOST_CUTS):
            result = self.bare_solve(time_limit=time_limit)
            if result.status == _INFEASIBLE:
                return Answer(proof=Proof.INFEASIBLE)
            if result.x is None:
                return Answer(proof=Proof.TIME_OUT, bound=self._bound(result))
            values = tuple(round(value) for value in result.x)
            broken = next((row for row in self._rows if not row.holds(values)), None)
            if broken is None:
                return self._whole(values, result)
            self._forbid(broken, values)
        return Answer(proof=Proof.TIME_OUT)

    def _whole(self, values: tuple[int, ...], result: "OptimizeResult | None") -> Answer:
        cost = self.constant + sum(c * v for c, v in zip(self._costs, values, strict=True))
        if result is None or result.status == _OPTIMAL:
            return Answer(proof=Proof.OPTIMAL, values=values, cost=cost, bound=cost)
        bound = self._bound(result)
        return Answer(
            proof=Proof.OPTIMAL if bound == cost else Proof.TIME_OUT,
            values=values,
            cost=cost,
            bound=bound,
        )

    def _bound(self, result: "OptimizeResult") -> int | None:
        """The solver's bound as a whole number: costs are whole, so it may be rounded up."""
        found: float | None = result.mip_dual_bound
        if found is None or not math.isfinite(found):
            return None
        slack = 1e-6 + 1e-12 * abs(found)
        return self.constant + math.ceil((found - slack) / self._scale())

    def _scale(self) -> float:
        """What costs are multiplied by for the solver, a power of two: exact."""
        largest = max((abs(cost) for cost in self._costs), default=0)
        halvings = 0
        while largest / 2**halvings > _LARGEST_FACTOR and halvings < _MOST_HALVINGS:
            halvings += 1
        return 2.0**-halvings

    def bare_solve(self, *, time_limit: float) -> "OptimizeResult":
        """The answer of the solver itself, in floating point and not checked."""
        # They take a fifth of a second to load, which most processes never need.
        from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415
        from scipy.sparse import csc_array  # noqa: PLC0415

        entries: list[float] = []
        columns: list[int] = []
        numbers: list[int] = []
        least: list[float] = []
        for number, row in enumerate(self._rows):
            scale = _row_scale(row)
            least.append(row.least / scale)
            for column, factor in row.terms.items():
                entries.append(factor / scale)
                columns.append(column)
                numbers.append(number)
        shape = (len(self._rows), len(self._costs))
        table = csc_array((entries, (numbers, columns)), shape=shape)
        return milp(
            np.array(self._costs, dtype=float) * self._scale(),
            integrality=np.ones(len(self._costs), dtype=np.int64),
            bounds=Bounds(0, np.array(self._uppers, dtype=float)),
            constraints=[LinearConstraint(table, lb=np.array(least))] if least else [],
            options={"mip_rel_gap": 0, "time_limit": time_limit, "presolve": True},
        )

    def _forbid(self, row: _Row, values: tuple[int, ...]) -> None:
        """A cut: whatever holds to the row has a larger value at a factor above zero, or a smaller
        one at a factor below zero."""
        choices: dict[int, int] = {}
        for column, factor in row.terms.items():
            value, upper = values[column], self._uppers[column]
            if factor > 0 and value < upper:
                chosen = self.column()
                self.at_least({column: 1, chosen: -(value + 1)}, 0)
                choices[chosen] = 1
            elif factor < 0 and value > 0:
                chosen = self.column()
                self.at_most({column: 1, chosen: upper - value + 1}, upper)
                choices[chosen] = 1
        self.at_least(choices, 1)


def _row_scale(row: _Row) -> float:
    """What a row is divided by for the solver, so that its largest factor is of moderate size."""
    factors = [abs(factor) for factor in row.terms.values() if factor]
    common = math.gcd(*factors, row.least) or 1
    largest = max(factors, default=1) / common
    return common * max(1.0, largest / _LARGEST_FACTOR)
