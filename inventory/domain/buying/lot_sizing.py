"""How much to order at a time: the economic order quantity, also with price breaks.

Quantities are in the material's stock unit, money in ten-thousandths, both per the same period;
results of square roots are floats, to be rounded once where they become an amount to order.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from studio.foundation.errors import InvalidInput


@dataclass(frozen=True, slots=True)
class Tier:
    """A price per unit for all units of an order of at least `from_quantity`."""

    from_quantity: float
    unit_price: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderQuantity:
    """A quantity to order at a time; `tier` is the index of the price it is bought at."""

    quantity: float
    annual_cost: float
    tier: int = 0


def annual_cost(
    quantity: float,
    *,
    demand: float,
    order_cost: float,
    holding_cost: float,
    unit_price: float = 0,
) -> float:
    """Purchase, ordering and holding cost of a year: D c + K D / Q + h Q / 2.

    Source: Harris, F. W., "How many parts to make at once", Factory 10 (1913), 135-136, 152.
    `holding_cost` is of one unit for a year. Raises InvalidInput unless the quantity is above 0.
    """
    if quantity <= 0:
        raise InvalidInput("A quantity to order is above zero.", field="quantity")
    return unit_price * demand + order_cost * demand / quantity + holding_cost * quantity / 2


def economic_order_quantity(
    *, demand: float, order_cost: float, holding_cost: float
) -> OrderQuantity:
    """Q = sqrt(2 K D / h), where a year's ordering cost equals its holding cost.

    Source: Harris (1913), as `annual_cost`. The cost is without the purchase itself. Raises
    InvalidInput unless all three are above zero and finite.
    """
    _check_positive(demand=demand, order_cost=order_cost, holding_cost=holding_cost)
    quantity = math.sqrt(2 * order_cost * demand / holding_cost)
    cost = annual_cost(quantity, demand=demand, order_cost=order_cost, holding_cost=holding_cost)
    return OrderQuantity(quantity=quantity, annual_cost=cost)


def quantity_with_discounts(
    tiers: Sequence[Tier], *, demand: float, order_cost: float, holding_share: float
) -> OrderQuantity:
    """The cheapest quantity when a larger order makes all of its units cheaper.

    For each price the economic quantity with h = share x price, raised to where the price begins;
    one beyond its price's range is bought at the next price, so it is not a candidate. The
    cheapest candidate wins, the smaller on a tie. Source: Hadley and Whitin, "Analysis of Inventory
    Systems" (1963), section 2-11 (all units discounts). Raises InvalidInput for tiers that don't
    ascend in quantity, and for a number that is not above zero.
    """
    _check_positive(demand=demand, order_cost=order_cost, holding_share=holding_share)
    _check_tiers(tiers)
    best: OrderQuantity | None = None
    for index, tier in enumerate(tiers):
        holding = holding_share * tier.unit_price
        ideal = economic_order_quantity(
            demand=demand, order_cost=order_cost, holding_cost=holding
        ).quantity
        ends = tiers[index + 1].from_quantity if index + 1 < len(tiers) else math.inf
        if ideal >= ends:
            continue
        quantity = max(ideal, tier.from_quantity)
        cost = annual_cost(
            quantity,
            demand=demand,
            order_cost=order_cost,
            holding_cost=holding,
            unit_price=tier.unit_price,
        )
        if best is None or cost < best.annual_cost:
            best = OrderQuantity(quantity=quantity, annual_cost=cost, tier=index)
    # The last tier has no end, so there is always a candidate.
    assert best is not None
    return best


def _check_positive(**values: float) -> None:
    for name, value in values.items():
        if not (value > 0 and math.isfinite(value)):
            raise InvalidInput("This must be above zero.", field=name)


def _check_tiers(tiers: Sequence[Tier]) -> None:
    if not tiers:
        raise InvalidInput("There must be at least one price.", field="tiers")
    starts = [tier.from_quantity for tier in tiers]
    if any(later <= earlier for earlier, later in pairwise(starts)):
        raise InvalidInput("Each price begins at a larger quantity.", field="tiers")
    if any(tier.unit_price <= 0 for tier in tiers):
        raise InvalidInput("A price with a discount is above zero.", field="tiers")
