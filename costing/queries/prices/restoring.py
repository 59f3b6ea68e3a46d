"""The lowest price that is not under its floor."""

from datetime import date
from decimal import Decimal

from costing.domain.prices.ladder import restoring_price
from costing.models.prices.prices import Tier
from costing.models.prices.products import Product
from costing.queries.prices.prices import floors


def restoring_for(
    product: Product, tier: Tier, *, quantity: int, own_floor: int | None, on: date
) -> int | None:
    """The lowest price on the tier's ending at or above the floor of a quantity on a day.

    The floor is `own_floor` where one is given, else what the cost gives; None where no cost is
    known. As many queries as `floors`.
    """
    floor = own_floor
    if floor is None:
        floor = floors([product.pk], [tier.pk], on=on)[product.pk, tier.pk].by_cost(quantity)
    if floor is None:
        return None
    return restoring_price(floor, discount=Decimal(0), step=tier.step, ending=tier.ending)
