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
    Labor or overhead of `not_known` bars that left or came back was not known when they left: then
    what the goods cost and what is left are not known either, but what the books know of them. Of
    `packing_not_known` bars nobody had said how they are packed: `packed` is what was booked.
    """

    bars: int = 0
    returned: int = 0
    sold: Money = 0
    credited: Money = 0
    cost_out: int = 0
    cost_back: int = 0
    packed: Money = 0
    fees: Money = 0
    not_known: int = 0
    packing_not_known: int = 0

    @property
    def revenue(self) -> Money:
        """Without tax and discounts, less credits."""
        return self.sold - self.credited

    @property
    def cost_at_least(self) -> Money:
        """What the books know of the cost of the bars that stayed with customers."""
        return self.cost_out - self.cost_back

    @property
    def cost_of_goods(self) -> Money | None:
        """What the bars that stayed with customers had cost by the ledger."""
        return None if self.not_known else self.cost_at_least

    @property
    def margin_at_most(self) -> Money:
        """Revenue less what is known of the cost of goods sold."""
        return self.revenue - self.cost_at_least

    @property
    def gross_margin(self) -> Money | None:
        """Revenue less the cost of goods sold."""
        return None if self.not_known else self.margin_at_most

    @property
    def packing(self) -> Money | None:
        """Packing for the customer."""
        return None if self.packing_not_known else self.packed

    @property
    def selling_cost(self) -> Money | None:
        """Packing for the customer and fees."""
        return None if self.packing is None else self.packing + self.fees

    @property
    def selling_at_least(self) -> Money:
        """What is known of packing for the customer, and fees."""
        return self.packed + self.fees

    @property
    def contribution_at_most(self) -> Money:
        """What is left of the margin after the costs of selling, at the most."""
        return self.margin_at_most - self.selling_at_least

    @property
    def contribution(self) -> Money | None:
        """What is left of the gross margin after the costs of selling."""
        is_known = not self.not_known and not self.packing_not_known
        return self.contribution_at_most if is_known else None

    @property
    def gross_share(self) -> Share | None:
        """Gross margin as a share of the revenue; None without revenue, or where not known."""
        margin = self.gross_margin
        if margin is None or self.revenue <= 0:
            return None
        return as_share(Fraction(margin, self.revenue))

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
