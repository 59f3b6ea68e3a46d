"""What an order comes to line by line and shipment by shipment: sums that add up to the order.

Money is ten-thousandths; `unit` is the smallest amount that is written on an invoice (100 where
the currency is paid in hundredths). Part shipments are the order's whole, cut by the bars: each
part runs from what had left before to what has left after it, both rounded half to even, so the
parts of any shipments add up to the whole and none is off by more than a unit.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from studio.foundation.money import share, split


@dataclass(frozen=True, slots=True, kw_only=True)
class Billed:
    """What a customer is asked for: without tax, the tax, and both together."""

    net: int
    tax: int

    @property
    def gross(self) -> int:
        """With tax."""
        return self.net + self.tax


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderSums:
    """Amounts of an order as they were agreed; the tax is within them, or comes on top."""

    lines: Sequence[int]
    freight: int
    tax: int
    tax_included: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """Bars of a line that leave together, and how many its carton holds."""

    bars: int
    per_carton: int


def billed(order: OrderSums, *, unit: int) -> tuple[list[Billed], Billed]:
    """What each line and the freight come to; the tax is split by the largest remainder.

    Together they are the order to the last unit.
    """
    amounts = [*order.lines, order.freight]
    taxes = _in_units(order.tax, amounts, unit)
    parts = [
        Billed(net=amount - tax if order.tax_included else amount, tax=tax)
        for amount, tax in zip(amounts, taxes, strict=True)
    ]
    return parts[:-1], parts[-1]


def part_between(whole: int, before: int, after: int, *, of: int, unit: int) -> int:
    """The part of `whole` for the bars from `before` to `after` out of `of`."""
    unit = unit if whole % unit == 0 else 1
    units = whole // unit
    return (share(units, after, of) - share(units, before, of)) * unit


def bill_between(whole: Billed, before: int, after: int, *, of: int, unit: int) -> Billed:
    """The part of what a line comes to, for the bars from `before` to `after` out of `of`."""
    return Billed(
        net=part_between(whole.net, before, after, of=of, unit=unit),
        tax=part_between(whole.tax, before, after, of=of, unit=unit),
    )


def carton_bounds(packed: Sequence[Packed]) -> tuple[int, int]:
    """The fewest cartons, lines packed together, and the most, each line by itself."""
    fewest = math.ceil(sum(Fraction(line.bars, line.per_carton) for line in packed))
    return fewest, sum(math.ceil(Fraction(line.bars, line.per_carton)) for line in packed)


def cartons_by_line(packed: Sequence[Packed], cartons: int) -> list[int]:
    """How many of the cartons are each line's: its own where none are shared, else by its bars."""
    own = [math.ceil(Fraction(line.bars, line.per_carton)) for line in packed]
    if cartons == sum(own):
        return own
    whole = math.lcm(*(line.per_carton for line in packed))
    return split(cartons, [line.bars * whole // line.per_carton for line in packed])


def packing_by_line(needs: Sequence[Mapping[int, int]], costs: Mapping[int, int]) -> list[int]:
    """The cost of packaging (by material id) spread over lines by what each takes of it."""
    spread = [0] * len(needs)
    for material, cost in costs.items():
        weights = [need.get(material, 0) for need in needs]
        for place, part in enumerate(split(cost, weights)):
            spread[place] += part
    return spread


def spread_over(total: int, weights: Sequence[int]) -> list[int]:
    """`total` in proportion to `weights`, evenly where all are zero."""
    return split(total, weights if any(weights) else [1] * len(weights))


def _in_units(total: int, weights: Sequence[int], unit: int) -> list[int]:
    unit = unit if total % unit == 0 and not any(weight % unit for weight in weights) else 1
    return [part * unit for part in spread_over(total // unit, weights)]
