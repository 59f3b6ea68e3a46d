"""Fees of selling: what a card or a market takes of each sale.

They are selling costs: they never enter the cost of stock (IAS 2 paragraph 16(d)), but a price
must bear them.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

NO_SHARE = Decimal(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fees:
    """All fees of a sale: a share of what is paid (of 1), and so much for each sale."""

    share: Decimal = NO_SHARE
    fixed_per_sale: int = 0

    def of(self, paid: int) -> int:
        """The fees of one sale at which so much is paid, rounded half to even."""
        return round(Fraction(self.share) * paid) + self.fixed_per_sale
