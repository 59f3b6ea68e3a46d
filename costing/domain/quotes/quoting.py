"""What a quote says of a line: cartons, what is under the floor, and the margin that is left."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from costing.domain.prices.ladder import restoring_price
from costing.domain.prices.pricing import as_share
from costing.errors import PriceNotPossible
from studio.foundation.errors import Faults
from studio.foundation.hints import Money
from studio.foundation.money import MAX_MONEY, split


@dataclass(frozen=True, slots=True, kw_only=True)
class TaxedPrice:
    """A price without tax, its tax, and with tax; the first two add up to the third."""

    without_tax: Money
    tax: Money
    with_tax: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """What a quote or an order comes to.

    `line_amounts` are after the discount and add up to `goods`. `tax` is of goods and freight:
    added to them in `total`, or within them. `lines_without_tax` is the revenue of each line.
    """

    line_amounts: tuple[int, ...]
    goods: int
    freight: int
    tax: int
    total: int
    lines_without_tax: tuple[int, ...]


def rounded_to(amount: Fraction | int, unit: int) -> int:
    """An amount to whole units, half to even. Raises ValueError for a unit below 1."""
    if unit < 1:
        raise ValueError("a unit is at least one ten-thousandth")
    return round(Fraction(amount) / unit) * unit


def taxed(price: int, *, tax_share: Decimal, tax_included: bool, unit: int = 1) -> TaxedPrice:
    """A written price with its tax apart, in whole units."""
    written = rounded_to(price, unit)
    tax = _tax_of(written, tax_share=tax_share, tax_included=tax_included, unit=unit)
    if tax_included:
        return TaxedPrice(without_tax=written - tax, tax=tax, with_tax=written)
    return TaxedPrice(without_tax=written, tax=tax, with_tax=written + tax)


def sums(
    lines: Sequence[int],
    *,
    discount: Decimal = Decimal(0),
    freight: int = 0,
    tax_share: Decimal = Decimal(0),
    tax_included: bool = False,
    unit: int = 1,
) -> Sums:
    """Sums of lines, each quantity times price in ten-thousandths, before the discount.

    The goods are rounded once and split over the lines by the largest remainder: no line is
    off by a whole unit, and together they are the goods. Raises PriceNotPossible for
    an amount below zero, shares outside 0..1 and what is too large to be kept.
    """
    _check(lines, discount=discount, freight=freight, tax_share=tax_share)
    goods = rounded_to(sum(lines) * (1 - Fraction(discount)), unit)
    freight = rounded_to(freight, unit)
    base = goods + freight
    tax = _tax_of(base, tax_share=tax_share, tax_included=tax_included, unit=unit)
    net_goods = goods
    if tax_included:
        net_goods -= _tax_of(goods, tax_share=tax_share, tax_included=True, unit=unit)
    return Sums(
        line_amounts=_parts(goods, lines, unit),
        goods=goods,
        freight=freight,
        tax=tax,
        total=base if tax_included else base + tax,
        lines_without_tax=_parts(net_goods, lines, unit),
    )


def _tax_of(amount: int, *, tax_share: Decimal, tax_included: bool, unit: int) -> int:
    tax = amount * Fraction(tax_share)
    return rounded_to(tax / (1 + Fraction(tax_share)) if tax_included else tax, unit)


def _parts(total: int, weights: Sequence[int], unit: int) -> tuple[int, ...]:
    if not any(weights):
        return (0,) * len(weights)
    return tuple(part * unit for part in split(total // unit, weights))


def _check(lines: Sequence[int], *, discount: Decimal, freight: int, tax_share: Decimal) -> None:
    faults = Faults()
    if any(amount < 0 for amount in lines):
        faults.add("below-zero", "A line cannot be below zero.", "lines")
    if freight < 0:
        faults.add("below-zero", "Freight cannot be below zero.", "freight")
    for name, share in (("discount", discount), ("tax_share", tax_share)):
        if not 0 <= share < 1:
            faults.add("out-of-range", "It is at least 0 and less than 1.", name)
    if (sum(lines) + freight) * 2 > MAX_MONEY:
        faults.add("too-large", "Together that is more than can be kept.", "lines")
    faults.raise_if_any(PriceNotPossible)


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
