"""Prices: what a need would cost to buy today, and what to ask for a bar.

Margin is a share of the price, markup a share of the cost; both are Decimal shares of 1 with at
most six places. Money is ten-thousandths of the studio currency.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

from costing.errors import CostNotKnown, PriceNotPossible
from studio.errors import Fault, Faults
from studio.money import MAX_MONEY

SHARE_PLACES = 6
HIGHEST_MARKUP = Decimal(1000)


class PriceBasis(StrEnum):
    """At which prices the materials of a plan are valued."""

    PICKED_LOTS = "picked_lots"
    MOVING_AVERAGE = "moving_average"
    REPLACEMENT = "replacement"


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferView:
    """A supplier's offer: the price of one pack, how much it holds (ng or pieces), when it holds.

    Both days are included; None is open.
    """

    id: int
    supplier: str
    price: int
    pack_amount: int
    valid_from: date | None = None
    valid_until: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Replacement:
    """What the need would cost at the best offer, and that offer."""

    offer: OfferView
    cost: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplacementCosts:
    """Replacement cost by material id, and the materials nobody offers."""

    costs: Mapping[int, Replacement]
    missing: tuple[int, ...]


def is_current(offer: OfferView, *, on: date) -> bool:
    """Whether the offer holds on that day."""
    return (offer.valid_from or date.min) <= on <= (offer.valid_until or date.max)


def replacement_cost(need: int, offers: Iterable[OfferView], *, on: date) -> Replacement | None:
    """Cost of `need` at the cheapest current offer, in proportion to its pack; None without one.

    Cheapest is price / pack amount, then the smaller pack, then the smaller id. The cost is
    rounded half to even. Raises CostNotKnown for a negative need or an offer that makes no sense.
    """
    if need < 0:
        raise CostNotKnown("A need cannot be below zero.", field="need")
    current = [offer for offer in offers if is_current(offer, on=on)]
    faults = Faults()
    for offer in current:
        if offer.pack_amount <= 0 or offer.price < 0:
            faults.add(
                "offer-makes-no-sense",
                f"The offer of {offer.supplier} has an empty pack or a price below zero.",
                f"offers.{offer.id}",
            )
    faults.raise_if_any(CostNotKnown)
    if not current:
        return None
    best = min(current, key=lambda o: (Fraction(o.price, o.pack_amount), o.pack_amount, o.id))
    return Replacement(offer=best, cost=round(Fraction(need * best.price, best.pack_amount)))


def replacement_costs(
    needs: Mapping[int, int], offers: Mapping[int, Iterable[OfferView]], *, on: date
) -> ReplacementCosts:
    """Replacement cost of each need, both keyed by material id; names those without an offer."""
    costs: dict[int, Replacement] = {}
    missing: list[int] = []
    for material, need in needs.items():
        found = replacement_cost(need, offers.get(material, ()), on=on)
        if found is None:
            missing.append(material)
        else:
            costs[material] = found
    return ReplacementCosts(costs=MappingProxyType(costs), missing=tuple(missing))


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
