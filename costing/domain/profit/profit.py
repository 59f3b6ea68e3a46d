"""What sales brought and what is left: by product, customer, month, or any of them together.

Gross margin is revenue less the cost of goods sold. Fees and packing for the customer are costs of
selling (IAS 2 paragraph 16(d)), so they come off only after that: what is left is the contribution.
All money is whole ten-thousandths; sums of groups are the sum of everything.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from enum import StrEnum
from fractions import Fraction

from costing.domain.prices.pricing import as_share
from studio.foundation.hints import Money, Share


class By(StrEnum):
    """What sales are grouped by."""

    PRODUCT = "product"
    CUSTOMER = "customer"
    MONTH = "month"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Sales of a group. `sold` is without tax and after discounts, `credited` what was given back;
    `cost_out` is what the ledger took off for what left, `cost_back` what came back with returns.
    """

    bars: int = 0
    returned: int = 0
    sold: Money = 0
    credited: Money = 0
    cost_out: int = 0
    cost_back: int = 0
    packing: Money = 0
    fees: Money = 0

    @property
    def revenue(self) -> Money:
        """Without tax and discounts, less credits."""
        return self.sold - self.credited

    @property
    def cost_of_goods(self) -> Money:
        """What the bars that stayed with customers had cost by the ledger."""
        return self.cost_out - self.cost_back

    @property
    def gross_margin(self) -> Money:
        """Revenue less the cost of goods sold."""
        return self.revenue - self.cost_of_goods

    @property
    def selling_cost(self) -> Money:
        """Packing for the customer and fees."""
        return self.packing + self.fees

    @property
    def contribution(self) -> Money:
        """What is left of the gross margin after the costs of selling."""
        return self.gross_margin - self.selling_cost

    @property
    def gross_share(self) -> Share | None:
        """Gross margin as a share of the revenue; None without revenue."""
        return as_share(Fraction(self.gross_margin, self.revenue)) if self.revenue > 0 else None

    def __add__(self, other: "Figures") -> "Figures":
        names = [field.name for field in fields(self)]
        return Figures(**{name: getattr(self, name) + getattr(other, name) for name in names})


Group = tuple[str, ...]


def added(parts: Iterable[Mapping[Group, Figures]]) -> dict[Group, Figures]:
    """Figures of the same groups together, in the order of the groups."""
    found: dict[Group, Figures] = {}
    for part in parts:
        for group, figures in part.items():
            found[group] = found.get(group, Figures()) + figures
    return dict(sorted(found.items()))


def total(groups: Mapping[Group, Figures]) -> Figures:
    """All groups together."""
    return sum(groups.values(), Figures())
