"""Prices: what to ask for a bar.

Margin is a share of the price, markup a share of the cost; both are Decimal shares of 1 with at
most six places. Money is ten-thousandths of the studio currency.
"""

import math
from decimal import Decimal
from fractions import Fraction

from costing.errors import PriceNotPossible
from studio.foundation.errors import Fault
from studio.foundation.money import MAX_MONEY

SHARE_PLACES = 6
HIGHEST_MARKUP = Decimal(1000)


def price_for_margin(cost: int, margin: Decimal, *, step: int = 1) -> int:
    """The lowest price on a step that keeps at least the margin: cost / (1 - margin), rounded up.

    `step` is a price ending in ten-thousandths (500 = 0.05). Raises PriceNotPossible for a margin
    below 0 or of 1 and more, a cost that isn't above zero, or a step below 1.
    """
    _check(cost, step, [*_share_faults(margin, field="margin", below=Decimal(1))])
    return _up_to_step(Fraction(cost) / (1 - Fraction(margin)), step)


def price_for_markup(cost: int, markup: Decimal, *, step: int = 1) -> int:
    """The lowest price on a step that keeps at least the markup: cost x (1 + markup), rounded up.

    Raises PriceNotPossible for a markup below 0 or of 1000 and more, and as `price_for_margin`.
    """
    _check(cost, step, [*_share_faults(markup, field="markup", below=HIGHEST_MARKUP)])
    return _up_to_step(Fraction(cost) * (1 + Fraction(markup)), step)


def margin_of(price: int, cost: int) -> Decimal:
    """Margin of a price: (price - cost) / price, to six places; below zero when sold at a loss.

    Raises PriceNotPossible when the price isn't above zero.
    """
    if price <= 0:
        raise PriceNotPossible("A margin needs a price above zero.", field="price")
    return as_share(Fraction(price - cost, price))


def markup_of(price: int, cost: int) -> Decimal:
    """Markup of a price: (price - cost) / cost, to six places; below zero when sold at a loss.

    Raises PriceNotPossible when the cost isn't above zero.
    """
    if cost <= 0:
        raise PriceNotPossible("A markup needs a cost above zero.", field="cost")
    return as_share(Fraction(price - cost, cost))


def _up_to_step(price: Fraction, step: int) -> int:
    rounded = math.ceil(price / step) * step
    if rounded > MAX_MONEY:
        raise PriceNotPossible("That price is more than can be kept.")
    return rounded


def as_share(value: Fraction) -> Decimal:
    """A share of 1 as a Decimal of six places, rounded half to even."""
    scaled = round(value * 10**SHARE_PLACES)
    return Decimal(scaled).scaleb(-SHARE_PLACES)


def _check(cost: int, step: int, found: list[Fault]) -> None:
    if cost <= 0:
        found.append(
            Fault("cost-not-positive", "A price is worked out from a cost above zero.", "cost")
        )
    if step < 1:
        found.append(Fault("step-not-positive", "A price step must be above zero.", "step"))
    if found:
        raise PriceNotPossible(faults=found)


def _share_faults(value: Decimal, *, field: str, below: Decimal) -> list[Fault]:
    """What is wrong with a share; looks before computing, since a Decimal may be 1E-999999."""
    if not value.is_finite():
        return [Fault("not-a-number", f"The {field} must be a number.", field)]
    if not 0 <= value < below:
        return [
            Fault("out-of-range", f"The {field} must be at least 0 and less than {below}.", field)
        ]
    exponent = value.as_tuple().exponent
    if isinstance(exponent, int) and exponent < -SHARE_PLACES:
        return [Fault("too-fine", f"The {field} has at most {SHARE_PLACES} places.", field)]
    return []
