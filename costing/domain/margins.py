"""Margin and markup as two kinds of value that cannot be taken for each other.

A margin is a share of the price, a markup a share of the cost: at a cost of 2.00 a price of 4.00
has a margin of 0.5 and a markup of 1. With price p and cost c, margin = (p - c) / p and markup =
(p - c) / c, so markup = margin / (1 - margin).
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from costing.domain.pricing import (
    as_share,
    margin_of,
    markup_of,
    price_for_margin,
    price_for_markup,
)
from costing.errors import PriceNotPossible


@dataclass(frozen=True, slots=True, order=True)
class Margin:
    """A share of the price. Margins compare with margins only."""

    share: Decimal

    @classmethod
    def of(cls, *, price: int, cost: int) -> "Margin":
        """The margin of a price. Raises PriceNotPossible unless the price is above zero."""
        return cls(margin_of(price, cost))

    def price(self, cost: int, *, step: int = 1) -> int:
        """The lowest price on the step that keeps it. Raises PriceNotPossible."""
        return price_for_margin(cost, self.share, step=step)

    def as_markup(self) -> "Markup":
        """The same price as a markup, to six places. Raises PriceNotPossible from 1 on."""
        if self.share >= 1:
            raise PriceNotPossible("A margin is less than the whole price.", field="margin")
        return Markup(as_share(Fraction(self.share) / (1 - Fraction(self.share))))


@dataclass(frozen=True, slots=True, order=True)
class Markup:
    """A share of the cost. Markups compare with markups only."""

    share: Decimal

    @classmethod
    def of(cls, *, price: int, cost: int) -> "Markup":
        """The markup on a cost. Raises PriceNotPossible unless the cost is above zero."""
        return cls(markup_of(price, cost))

    def price(self, cost: int, *, step: int = 1) -> int:
        """The lowest price on the step that keeps it. Raises PriceNotPossible."""
        return price_for_markup(cost, self.share, step=step)

    def as_margin(self) -> "Margin":
        """The same price as a margin, to six places. Raises PriceNotPossible at -1 and below."""
        if self.share <= -1:
            raise PriceNotPossible("A markup takes less away than the whole cost.", field="markup")
        return Margin(as_share(Fraction(self.share) / (1 + Fraction(self.share))))
