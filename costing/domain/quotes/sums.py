"""Sums of what is sold, and tax added to a price or within it: exact to the last unit.

`unit` is the smallest amount that is written, in ten-thousandths: 100 where the currency is paid
in hundredths, 1 to keep all that the books keep. Everything is rounded half to even once, and
parts are made of rounded totals by the largest remainder, so that what is shown adds up.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

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
