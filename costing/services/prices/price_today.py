"""One price of the list, set or corrected: whichever its day asks for."""

from datetime import date
from typing import TYPE_CHECKING

from django.db import transaction

from costing.models.prices.prices import PriceEntry
from costing.services.prices.prices import PriceDescription, change_price, set_prices

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def put_price(
    described: PriceDescription,
    *,
    on: date,
    override_reason: str = "",
    by: "User | None" = None,
) -> PriceEntry:
    """Keep a price from its day on. `on` is the present day.

    Where one starts on that very day, and the day has not passed, it is corrected; else it is a new
    entry. Raises as `set_prices` and `change_price`.
    """
    there = PriceEntry.objects.filter(
        product__code=described.product,
        tier__code=described.tier,
        from_quantity=described.from_quantity,
        effective_from=described.effective_from,
    ).first()
    if there is None or there.effective_from < on:
        return set_prices([described], override_reason=override_reason, by=by)[0]
    return change_price(
        there.pk,
        on=on,
        price=described.price,
        floor=described.floor,
        ended_on=described.ended_on,
        override_reason=override_reason,
        by=by,
    )
