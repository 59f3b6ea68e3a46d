"""The price ladder: what a tier must ask for a bar, and which steps of a ladder make sense.

Prices of a list are without tax unless the tier's are written with it; margins are always of the
price without tax, after the fees of the sale. Money is ten-thousandths, shares are Decimals of 1.
A share of fees is taken of what is paid, tax included, as cards are charged (common practice, no
source); IAS 2 paragraph 16(d) keeps such selling costs out of the cost of the bar.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from costing.domain.prices.pricing import as_share
from costing.errors import PriceNotPossible
from studio.foundation.errors import Fault
from studio.foundation.money import MAX_MONEY

ONE = Fraction(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """How a tier's prices are written and what its sales cost.

    `fee_fixed` is a bar's part of a sale's fixed fees. Prices end on `ending` in each `step`.
    """

    step: int = 1
    ending: int = 0
    tax_share: Decimal = Decimal(0)
    tax_included: bool = False
    fee_share: Decimal = Decimal(0)
    fee_fixed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """A price of a list that holds from a quantity on."""

    from_quantity: int
    price: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TierLadder:
    """The rungs of one tier for one product; tiers stand in the order of the price ladder."""

    name: str
    rungs: tuple[Rung, ...]
    tax_share: Decimal = Decimal(0)
    tax_included: bool = False


def on_ending(price: Fraction | int, *, step: int, ending: int) -> int:
    """The lowest price on the ending that is not below `price`: 4.02 on 0.95 of 1.00 is 4.95.

    Raises PriceNotPossible unless 0 <= ending < step, for a price below zero or one too large.
    """
    if not 0 <= ending < step:
        raise PriceNotPossible(
            "A price ending is at least 0 and less than the step it repeats in.", field="ending"
        )
    if price < 0:
        raise PriceNotPossible("A price cannot be below zero.", field="price")
    found = max(0, math.ceil((Fraction(price) - ending) / step)) * step + ending
    if found > MAX_MONEY:
        raise PriceNotPossible("That price is more than can be kept.", field="price")
    return found


def price_keeping(cost: int, *, margin: Decimal, terms: Terms) -> int:
    """The lowest price as the tier writes it that keeps `margin` of the price without tax.

    With price p without tax: p - fee_share * p * (1 + tax) - fee_fixed - cost >= margin * p.
    Raises PriceNotPossible for a cost that isn't above zero, and when margin and fees leave
    nothing of the price.
    """
    if cost <= 0:
        raise PriceNotPossible("A price is worked out from a cost above zero.", field="cost")
    with_tax = ONE + Fraction(terms.tax_share)
    left = ONE - Fraction(margin) - Fraction(terms.fee_share) * with_tax
    if margin < 0 or left <= 0:
        raise PriceNotPossible(
            "The margin and the fees together take the whole price: lower one of them.",
            field="margin",
        )
    price = Fraction(cost + terms.fee_fixed) / left
    written = price * with_tax if terms.tax_included else price
    return on_ending(written, step=terms.step, ending=terms.ending)


def without_tax(price: int | Fraction, *, tax_share: Decimal, tax_included: bool) -> Fraction:
    """What a written price is without its tax, exactly."""
    return Fraction(price) / (ONE + Fraction(tax_share)) if tax_included else Fraction(price)


def kept_margin(price: int | Fraction, cost: int, *, terms: Terms) -> Decimal:
    """The share of the price without tax that is left after fees and cost, to six places.

    Below zero when sold at a loss. Raises PriceNotPossible when the price isn't above zero.
    """
    if price <= 0:
        raise PriceNotPossible("A margin needs a price above zero.", field="price")
    net, left = _left_of(price, terms)
    return as_share((left - cost) / net)


def markup_kept(price: int | Fraction, cost: int, *, terms: Terms) -> Decimal:
    """What is left after fees and cost as a share of the cost, to six places.

    Raises PriceNotPossible when the cost isn't above zero.
    """
    if cost <= 0:
        raise PriceNotPossible("A markup needs a cost above zero.", field="cost")
    _, left = _left_of(price, terms)
    return as_share((left - cost) / cost)


def restoring_price(floor: int, *, discount: Decimal, step: int, ending: int) -> int:
    """The lowest price on the ending that is not under `floor` once `discount` is taken off.

    Raises PriceNotPossible unless 0 <= discount < 1.
    """
    if not 0 <= discount < 1:
        raise PriceNotPossible("A discount is at least 0 and less than 1.", field="discount")
    return on_ending(Fraction(floor) / (ONE - Fraction(discount)), step=step, ending=ending)


def rung_for(rungs: Iterable[Rung], quantity: int) -> Rung | None:
    """The rung that holds for a quantity: that of the largest `from_quantity` within it."""
    reached = [rung for rung in rungs if rung.from_quantity <= quantity]
    return max(reached, key=lambda rung: rung.from_quantity, default=None)


def ladder_faults(tiers: Sequence[TierLadder], *, field: str = "price") -> list[Fault]:
    """What is wrong with one product's ladders: a larger quantity never costs more by the bar,
    and no tier asks more than one before it, at any quantity both sell (both without tax)."""
    faults = []
    for tier in tiers:
        rungs = sorted(tier.rungs, key=lambda rung: rung.from_quantity)
        faults += [
            Fault(
                "quantity-costs-more",
                f"{tier.name} would ask more by the bar from {more.from_quantity} than from "
                f"{less.from_quantity}: a larger quantity never costs more by the bar.",
                field,
            )
            for less, more in pairwise(rungs)
            if more.price > less.price
        ]
    for place, lower in enumerate(tiers):
        for higher in tiers[:place]:
            at = _where_dearer(lower, higher)
            if at is not None:
                faults.append(
                    Fault(
                        "step-above",
                        f"{lower.name} would ask more than {higher.name} from {at} bars on: a "
                        "tier further down the ladder is never dearer.",
                        field,
                    )
                )
    return faults


def _where_dearer(lower: TierLadder, higher: TierLadder) -> int | None:
    """The first quantity at which the lower tier asks more without tax than the higher one."""
    for quantity in sorted({rung.from_quantity for rung in (*lower.rungs, *higher.rungs)}):
        ours, theirs = rung_for(lower.rungs, quantity), rung_for(higher.rungs, quantity)
        if ours and theirs and _net(ours, lower) > _net(theirs, higher):
            return quantity
    return None


def _net(rung: Rung, tier: TierLadder) -> Fraction:
    return without_tax(rung.price, tax_share=tier.tax_share, tax_included=tier.tax_included)


def _left_of(price: int | Fraction, terms: Terms) -> tuple[Fraction, Fraction]:
    """A written price without tax, and what of it is left after the fees of the sale."""
    net = without_tax(price, tax_share=terms.tax_share, tax_included=terms.tax_included)
    paid = net * (ONE + Fraction(terms.tax_share))
    return net, net - Fraction(terms.fee_share) * paid - terms.fee_fixed
