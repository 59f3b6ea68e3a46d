"""What a quote says of a line: cartons, what is under the floor, and the margin that is left."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from costing.domain.prices.ladder import restoring_price
from costing.domain.prices.pricing import as_share
from costing.domain.quotes.sums import rounded_to

ONE = Fraction(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tax:
    """A quote's tax: the share, and whether prices are written with it."""

    share: Decimal = Decimal(0)
    included: bool = False

    def taken_off(self, written: Fraction) -> Fraction:
        """What is left of a written amount without its tax."""
        return written / (ONE + Fraction(self.share)) if self.included else written


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a line asks for a bar before the quote's discount, and its floor (None: not known).

    `at_least` is what a floor that is not known can be at the least. All are written as the quote
    writes its prices, in ten-thousandths.
    """

    price: int
    floor: int | None
    discount: Decimal = Decimal(0)
    at_least: int | None = None

    @property
    def paid(self) -> Fraction:
        """What is paid for a bar after the discount, exactly."""
        return self.price * (ONE - Fraction(self.discount))

    @property
    def under(self) -> bool:
        """Whether less is paid than the floor, or than it can be at the least."""
        least = self.at_least if self.floor is None else self.floor
        return least is not None and self.paid < least

    def restored(self, *, step: int, ending: int) -> int | None:
        """The lowest price on the ending that is not under the floor after the discount."""
        if self.floor is None:
            return None
        return restoring_price(self.floor, discount=self.discount, step=step, ending=ending)


def cartons(bars: int, bars_per_carton: int) -> tuple[int, int]:
    """Whole cartons, and the bars left over that go in one more."""
    return divmod(bars, bars_per_carton)


def carton_price(price: int, bars_per_carton: int) -> int:
    """What a full carton costs before discounts."""
    return price * bars_per_carton


def fees_of_bar(paid: Fraction, *, share: Decimal, fixed: int, bars: int, tax: Tax) -> int:
    """What selling a bar costs: a share of what is paid with tax, and its part of a fixed fee.

    Rounded half to even to a ten-thousandth.
    """
    with_tax = tax.taken_off(paid) * (ONE + Fraction(tax.share))
    return round(with_tax * Fraction(share) + Fraction(fixed, bars))


def margin_left(
    amount: int, *, quantity: int, cost: int | None, fees: int, tax: Tax
) -> Decimal | None:
    """The share of the price without tax that is left after fees and cost; None where unknown.

    `amount` is that of the whole line after its discount; `cost` and `fees` are of a bar. Below
    zero at a loss. None where the line is free or its cost is not known.
    """
    net = tax.taken_off(Fraction(amount, quantity))
    if cost is None or net <= 0:
        return None
    return as_share((net - fees - cost) / net)


def exempt(price: int, tax: Tax, *, unit: int, upward: bool = False) -> int:
    """A price that is written with tax, for somebody who pays none: in whole units, for a floor
    rounded up."""
    net = tax.taken_off(Fraction(price))
    return -(-net // unit) * unit if upward else rounded_to(net, unit)
