"""Break-even: how many bars cover what is spent whether any are sold or not.

Contribution margin and break-even after OpenStax, Principles of Accounting, Volume 2: Managerial
Accounting, sections 3.1 to 3.4: unit contribution = price - variable cost, contribution ratio =
unit contribution / price, break-even units = fixed cost / unit contribution, break-even sales =
fixed cost / contribution ratio, and with a target profit (fixed cost + target) in place of the
fixed cost. With several products, a composite unit holds each in its share of the mix.
Money is ten-thousandths; prices are without tax.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from costing.domain.prices.ladder import Rung
from costing.domain.prices.pricing import as_share
from costing.errors import BreakEvenRefusal
from studio.foundation.errors import Faults
from studio.foundation.hints import ExactMoney, Money, Share
from studio.foundation.money import MAX_MONEY, PER_UNIT, split

MOST_MIX = 1_000
#: The largest order that is looked at, and the largest amount, in ten-thousandths: 10 million.
MOST_BARS = 1_000_000
HIGHEST = 10_000_000 * PER_UNIT


@dataclass(frozen=True, slots=True, kw_only=True)
class Sold:
    """A product as it sells: its price without tax and its variable cost by the bar, fees of the
    sale among it, and its part of the bars sold (`mix`, any whole number)."""

    name: str
    price: int
    variable_cost: int
    mix: int = 1

    @property
    def contribution(self) -> int:
        """What a bar brings towards the fixed cost."""
        return self.price - self.variable_cost


@dataclass(frozen=True, slots=True, kw_only=True)
class SoldPart:
    """A product's part of the bars that break even: whole bars, and what they sell for."""

    name: str
    bars: int
    sales: Money
    contribution_per_bar: Money
    contribution_ratio: Share


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakEven:
    """Where income is zero, or the target. `exact_bars` and `exact_sales` are what the equations
    give; `bars` and `sales` are whole bars of each product, the fewest in that mix that cover it.

    `profit` is what those whole bars leave after the fixed cost.
    """

    exact_bars: Fraction
    exact_sales: Fraction
    contribution_per_bar: ExactMoney
    contribution_ratio: Share
    bars: int
    sales: Money
    profit: Money
    parts: tuple[SoldPart, ...]


def break_even(fixed_cost: int, sold: Sequence[Sold], *, target_profit: int = 0) -> BreakEven:
    """The bars of a mix that cover the fixed cost and leave the target profit.

    Raises BreakEvenRefusal when the mix brings nothing above its variable cost, for amounts below
    zero, or without any product.
    """
    _check(fixed_cost, sold, target_profit)
    whole = sum(each.mix for each in sold)
    contribution = Fraction(sum(each.contribution * each.mix for each in sold), whole)
    price = Fraction(sum(each.price * each.mix for each in sold), whole)
    if contribution <= 0:
        raise BreakEvenRefusal(
            "A bar of this mix brings no more than it costs, so no number of bars covers the "
            "fixed cost: raise prices or lower costs.",
            field="products",
        )
    needed = fixed_cost + target_profit
    exact = needed / contribution
    if exact * price > MAX_MONEY:
        raise BreakEvenRefusal("That takes more sales than can be counted.", field="fixed_cost")
    counts = _whole_bars(sold, needed, exact)
    sales = sum(count * each.price for count, each in zip(counts, sold, strict=True))
    earned = sum(count * each.contribution for count, each in zip(counts, sold, strict=True))
    return BreakEven(
        exact_bars=exact,
        exact_sales=exact * price,
        contribution_per_bar=contribution,
        contribution_ratio=as_share(contribution / price),
        bars=sum(counts),
        sales=sales,
        profit=earned - fixed_cost,
        parts=tuple(_part(count, each) for count, each in zip(counts, sold, strict=True)),
    )


def income(fixed_cost: int, sold: Sequence[Sold], bars: Sequence[int]) -> int:
    """Income of so many bars of each product: their contribution less the fixed cost."""
    earned = sum(count * each.contribution for count, each in zip(bars, sold, strict=True))
    return earned - fixed_cost


def _whole_bars(sold: Sequence[Sold], needed: int, exact: Fraction) -> list[int]:
    """The first whole number of bars from the exact one on that, split by the mix, is enough.

    Whole bars shift the mix by less than a bar of each product, so that with a product that loses
    money some more may be needed; a full round of the mix always is enough.
    """
    common = math.gcd(*(each.mix for each in sold))
    mix = [each.mix // common for each in sold]
    bars = math.ceil(exact)
    while True:
        counts = split(bars, mix)
        if sum(n * each.contribution for n, each in zip(counts, sold, strict=True)) >= needed:
            return counts
        bars += 1


def _part(count: int, each: Sold) -> SoldPart:
    return SoldPart(
        name=each.name,
        bars=count,
        sales=count * each.price,
        contribution_per_bar=each.contribution,
        contribution_ratio=as_share(Fraction(each.contribution, each.price)),
    )


def _check(fixed_cost: int, sold: Sequence[Sold], target_profit: int) -> None:
    faults = Faults()
    if fixed_cost < 0:
        faults.add("below-zero", "A fixed cost is not below zero.", "fixed_cost")
    if target_profit < 0:
        faults.add("below-zero", "A target profit is not below zero.", "target_profit")
    if not sold:
        faults.add("nothing-sold", "Name at least one product.", "products")
    for index, each in enumerate(sold):
        if each.price <= 0:
            faults.add("not-positive", "A price is above zero.", f"products.{index}.price")
        if each.variable_cost < 0:
            faults.add("below-zero", "A cost is not below zero.", f"products.{index}.variable_cost")
        if not 1 <= each.mix <= MOST_MIX:
            faults.add(
                "out-of-range", f"A part of the mix is 1 to {MOST_MIX}.", f"products.{index}.mix"
            )
    faults.raise_if_any(BreakEvenRefusal)


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderCosts:
    """What an order costs beside its bars: packing and handling once, and for each carton.

    `fee_share` is of the price with tax, of which a price without tax is 1 / (1 + tax_share).
    """

    per_order: int
    per_carton: int = 0
    bars_per_carton: int = 1
    fee_share: Decimal = Decimal(0)
    tax_share: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallestOrder:
    """The smallest order that pays its packing, and what it leaves when it is paid."""

    quantity: int
    price: int
    cartons: int
    contribution: Fraction
    packing: int

    @property
    def left(self) -> Fraction:
        """What is left of the contribution after the packing."""
        return self.contribution - self.packing


def smallest_order(
    rungs: Sequence[Rung], cost: int, costs: OrderCosts, *, most: int
) -> SmallestOrder | None:
    """The smallest quantity whose contribution after fees covers what packing the order costs.

    `rungs` are prices without tax by quantity, `cost` is a bar's own. A larger order may fall
    short again where a lower price begins. None when no quantity up to `most` covers it.
    Contribution margin as in OpenStax (see above), applied to one order. Raises BreakEvenRefusal.
    """
    _check_order(rungs, cost, costs)
    steps = sorted(rungs, key=lambda rung: rung.from_quantity)
    ends = [rung.from_quantity - 1 for rung in steps[1:]] + [most]
    for rung, end in zip(steps, ends, strict=True):
        brings = rung.price * (1 - Fraction(costs.fee_share) * (1 + Fraction(costs.tax_share)))
        quantity = _first(brings - cost, costs, start=rung.from_quantity, end=min(end, most))
        if quantity is not None:
            cartons = -(-quantity // costs.bars_per_carton)
            return SmallestOrder(
                quantity=quantity,
                price=rung.price,
                cartons=cartons,
                contribution=(brings - cost) * quantity,
                packing=costs.per_order + cartons * costs.per_carton,
            )
    return None


def _first(each: Fraction, costs: OrderCosts, *, start: int, end: int) -> int | None:
    """The first quantity from `start` to `end` that is paid, each bar bringing `each`.

    Within a carton what is left grows with every bar; from full carton to full carton it grows by
    a carton's bars less the carton. So only the started carton and one other are to be tried.
    """
    if each <= 0:
        nothing_to_pay = costs.per_order == costs.per_carton == 0 and each == 0
        return start if nothing_to_pay and start <= end else None
    holds, begun = costs.bars_per_carton, -(-start // costs.bars_per_carton)
    tried = [begun]
    gain = each * holds - costs.per_carton
    if gain > 0:
        tried.append(max(begun + 1, math.ceil(costs.per_order / gain)))
    for cartons in tried:
        paid = math.ceil((costs.per_order + cartons * costs.per_carton) / each)
        quantity = max(start, (cartons - 1) * holds + 1, paid)
        if quantity <= min(cartons * holds, end):
            return quantity
    return None


def _check_order(rungs: Sequence[Rung], cost: int, costs: OrderCosts) -> None:
    faults = Faults()
    if not rungs:
        faults.add("no-price", "Give at least one price.", "prices")
    if len({rung.from_quantity for rung in rungs}) < len(rungs):
        faults.add("twice", "Each quantity has one price.", "prices")
    for index, rung in enumerate(rungs):
        if rung.price <= 0 or rung.from_quantity < 1:
            faults.add("not-positive", "Price and quantity are above zero.", f"prices.{index}")
    if cost < 0 or costs.per_order < 0 or costs.per_carton < 0:
        faults.add("below-zero", "A cost is not below zero.", "cost_per_bar")
    if costs.bars_per_carton < 1:
        faults.add("not-positive", "A carton holds at least one bar.", "bars_per_carton")
    if not (0 <= costs.fee_share < 1 and 0 <= costs.tax_share < 1):
        faults.add("out-of-range", "Shares are at least 0 and less than 1.", "fee_share")
    faults.raise_if_any(BreakEvenRefusal)
