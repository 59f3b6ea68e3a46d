"""What the lines of a sale cost and how low their prices may be: one reckoning for all sales."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from costing.domain.quotes.quoting import Asked, Tax, exempt
from costing.domain.rates.rates import Fees
from costing.models.prices.prices import Product, Tier
from costing.queries.bar_cost.product_costs import ProductCost, product_costs
from costing.queries.prices.prices import coin, fees_of_tiers, floors_from, list_prices


@dataclass(frozen=True, slots=True, kw_only=True)
class SoldLine:
    """So many bars of a product (by id) to a tier."""

    product_id: int
    tier: Tier
    quantity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SaleFloor:
    """What a bar of a line costs, its floor and the tier's fees; None is not known.

    `floor` and the least that it can be (`at_least`) are written as the sale writes its prices.
    """

    cost: ProductCost
    floor: int | None
    at_least: int | None
    fees: Fees


@dataclass(frozen=True, slots=True, kw_only=True)
class Offered:
    """A line of a sale with what is asked for a bar, and what that has to keep to."""

    position: int
    product: Product
    tier: Tier
    price: int
    asked: Asked
    cost_actual: int | None
    cost_replacement: int | None

    @property
    def is_floor_unknown(self) -> bool:
        """Whether nobody knows its floor; a bar that is known to cost nothing needs none."""
        costs_nothing = self.cost_replacement == 0 and not self.cost_actual
        return self.asked.floor is None and not costs_nothing

    @property
    def why_unknown(self) -> str:
        """In words, why it has no floor: nobody knows all that it costs, or no price can keep it.

        Of costs that are known there is a floor, or at least the least of one, wherever the margin
        and the fees leave something of the price.
        """
        if self.cost_replacement is not None and self.asked.at_least is None:
            return (
                f"the floor margin and the fees of {self.tier.name} take the whole price, so no "
                "price keeps it: lower one of them"
            )
        return (
            "not all that a bar costs is known, so neither is its floor: enter what is missing, "
            "which the page of the product names"
        )


def sale_floors(lines: Sequence[SoldLine], *, on: date, tax_included: bool) -> list[SaleFloor]:
    """The floor of each line on a day, its costs those of all its product's bars in the sale.

    `tax_included` says whether the sale's prices are written with tax. As many queries as
    `product_costs`, and two.
    """
    wanted: Counter[int] = Counter()
    for line in lines:
        wanted[line.product_id] += line.quantity
    tiers = {line.tier.pk: line.tier for line in lines}
    costs = product_costs(list(wanted), on=on, quantities=dict(wanted))
    ladders = list_prices([(pk, tier) for pk in wanted for tier in tiers], on=on)
    fees = fees_of_tiers(tiers.values(), on=on)
    floors = floors_from(tiers.values(), costs, ladders, fees=fees)
    found: list[SaleFloor] = []
    for line in lines:
        floor = floors[line.product_id, line.tier.pk]
        found.append(
            SaleFloor(
                cost=costs[line.product_id],
                floor=_written(floor.at(line.quantity), line.tier, tax_included),
                at_least=_written(floor.at_least(line.quantity), line.tier, tax_included),
                fees=fees[line.tier.pk],
            )
        )
    return found


def _written(price: int | None, tier: Tier, tax_included: bool) -> int | None:
    """A floor as the sale writes its prices: without the tier's tax for who pays none, upward."""
    if price is not None and tier.tax_included and not tax_included:
        tax = Tax(share=tier.tax_share, included=True)
        return exempt(price, tax, unit=coin(), upward=True)
    return price
