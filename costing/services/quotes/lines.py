"""A quote worked out: prices and floors of its lines, costs, promise dates, and the sums."""

from collections.abc import Sequence
from datetime import date

from costing.domain.quotes.quoting import Asked, Tax, exempt, fees_of_bar, sums
from costing.errors import QuoteRefusal
from costing.models.prices.prices import Tier
from costing.models.quotes.quotes import Quote, QuoteLine
from costing.queries.bar_cost.packaging import packings_of_day
from costing.queries.orders.promises import Wanted, promise
from costing.queries.prices.prices import list_prices, price_for
from costing.queries.prices.sale_floors import SoldLine, sale_floors
from costing.queries.quotes.quotes import money_unit, tax_of
from studio.foundation.errors import Faults


def work_out(
    quote: Quote, lines: Sequence[QuoteLine], *, on: date, keep_prices: bool = False
) -> None:
    """Fill in what follows from the lines' products and quantities on a day; saves nothing.

    Prices come from the tier's list by quantity unless a line names its own; with `keep_prices`
    they stay as they are, and only costs, floors, fees and dates are of the day. Lines come with
    product and tier. Raises QuoteRefusal naming every line without a price or a carton size, and
    PriceNotPossible for sums that are too large.
    """
    if not keep_prices:
        _price(quote, lines, on=on)
    found = sums(
        [line.quantity * line.price for line in lines],
        discount=quote.discount,
        freight=quote.freight,
        tax_share=quote.tax_share,
        tax_included=quote.tax_included,
        unit=money_unit(),
    )
    for line, amount in zip(lines, found.line_amounts, strict=True):
        line.amount = amount
    quote.goods, quote.freight = found.goods, found.freight
    quote.tax, quote.total = found.tax, found.total
    _cost(quote, lines, on=on)
    _promise(quote, lines, on=on)


def _price(quote: Quote, lines: Sequence[QuoteLine], *, on: date) -> None:
    faults = Faults()
    ladders = list_prices([(line.product_id, line.tier_id) for line in lines], on=on)
    sets = {line.product.packaging_set_id for line in lines} - {None}
    packings = packings_of_day([pk for pk in sets if pk is not None], on=on)
    for index, line in enumerate(lines):
        entry = price_for(ladders[line.product_id, line.tier_id], line.quantity)
        line.list_price = None if entry is None else _written(entry.price, quote, line.tier)
        price = line.list_price if line.own_price is None else line.own_price
        if price is None:
            faults.add(
                "no-price",
                f"The price list has no price of {line.product.name} for {line.quantity} bars "
                f"to {line.tier.name}: add one, or name a price for this line.",
                f"lines.{index}.price",
            )
        packing = packings.get(line.product.packaging_set_id or 0)
        carton = line.own_carton or (packing.bars_per_carton if packing else None)
        if carton is None:
            faults.add(
                "no-carton",
                f"Nothing says how many bars of {line.product.name} go in a carton: name it for "
                "this line, or give the product a packaging set.",
                f"lines.{index}.bars_per_carton",
            )
        line.price, line.bars_per_carton = price or 0, carton or 0
    faults.raise_if_any(QuoteRefusal)


def _cost(quote: Quote, lines: Sequence[QuoteLine], *, on: date) -> None:
    sold = [
        SoldLine(product_id=line.product_id, tier=line.tier, quantity=line.quantity)
        for line in lines
    ]
    bars = sum(line.quantity for line in lines)
    floors = sale_floors(sold, on=on, tax_included=quote.tax_included)
    for line, found in zip(lines, floors, strict=True):
        line.cost_actual, line.cost_replacement = found.cost.actual, found.cost.replacement
        line.floor, line.floor_at_least = found.floor, found.at_least
        line.fees = fees_of_bar(
            Asked(price=line.price, floor=None, discount=quote.discount).paid,
            share=found.fees.share,
            fixed=found.fees.fixed_per_sale,
            bars=bars,
            tax=tax_of(quote),
        )


def _promise(quote: Quote, lines: Sequence[QuoteLine], *, on: date) -> None:
    wanted = [Wanted(product_id=line.product_id, quantity=line.quantity) for line in lines]
    for line, found in zip(lines, promise(wanted, on=on, wanted_on=quote.wanted_on), strict=True):
        line.promised_on = found.on
        line.promise = {
            "reason": found.reason,
            "parts": [
                {
                    "kind": part.kind,
                    "amount": part.amount,
                    "ready_on": part.ready_on.isoformat(),
                    "code": part.code,
                }
                for part in found.parts
            ],
        }


def _written(price: int, quote: Quote, tier: Tier) -> int:
    """A price of the list as the quote writes it: without the tier's tax for who pays none."""
    if tier.tax_included and not quote.tax_included:
        return exempt(price, Tax(share=tier.tax_share, included=True), unit=money_unit())
    return price
