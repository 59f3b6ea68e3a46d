"""The making of blends (masterbatch lye, infusions) for the sake of what needs them."""

from dataclasses import dataclass
from fractions import Fraction

from costing.domain.bar_cost.conversion import Work, conversion_of
from costing.domain.rates.rates import Rates


@dataclass(frozen=True, slots=True, kw_only=True)
class Making:
    """The making of a blend for a need (a material's id): so much of a batch giving `output`."""

    need: int
    work: Work
    wanted: int
    output: int

    def cost(self, rates: Rates) -> int:
        """The need's part of the batch's labor and overhead, rounded once."""
        return round(Fraction(conversion_of(self.work, rates).total * self.wanted, self.output))
