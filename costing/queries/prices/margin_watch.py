"""Which prices that are promised now have fallen under their floor, and what would restore them."""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.db.models import Q

from costing.domain.prices.ladder import Terms, kept_margin, restoring_price, without_tax
from costing.domain.rates.rates import Fees
from costing.models.prices.prices import PriceEntry, Tier
from costing.models.quotes.quotes import Quote, QuoteLine, QuoteState
from costing.queries.bar_cost.product_costs import ProductCost, product_costs
from costing.queries.prices.prices import (
    Floor,
    Pair,
    by_pair,
    entries_on,
    fees_of_tiers,
    floors_from,
    terms_of,
)
from studio.foundation.hints import Money, Share


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """A price that is under its floor. Prices are by the bar, as their tier or quote writes them.

    `price` is what is asked, `floor` the least that may be, `restoring` the lowest price that is
    not under it once the discount is taken off (`discount`, of quotes). Where the floor is not
    known, `floor` is the least that it can be, and nothing says what restores it. `margin` is what
    the price keeps of itself without tax on `cost`, which is actual or replacement cost by `basis`.
    """

    subject: str
    product: str
    product_name: str
    tier: str
    tier_name: str
    quantity: int
    price: Money
    floor: Money
    restoring: Money | None
    cost: Money | None
    basis: str
    margin: Share | None
    wanted_margin: Share
    floor_margin: Share
    discount: Share = Decimal(0)
    quote: str = ""
    customer: str = ""
    position: int = 0
    state: str = ""

    @property
    def is_floor_known(self) -> bool:
        """Whether the floor is known, or only the least that it can be."""
        return self.restoring is not None

    @property
    def is_quote(self) -> bool:
        """Whether it is a line of a quote; else it is an entry of the price list."""
        return bool(self.quote)


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What both looks share: floors by product and tier, and fees by tier."""

    floors: dict[Pair, Floor]
    fees: dict[int, Fees]


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """What slipped, and the costs by product that this was found from.

    `not_known` counts the prices, of the list and of open quotes, whose floor is not known: above
    the least that it can be nobody can say whether they keep it.
    """

    slips: tuple[Slip, ...]
    costs: Mapping[int, ProductCost]
    not_known: int = 0


def slipped(*, on: date) -> tuple[Slip, ...]:
    """Entries in force and open lines of quotes that are under their floor on a day.

    Open quotes are drafts, and sent ones that are valid still. A price that an owner put under its
    floor with a reason is told once the floor rises above the one that was set aside; of a
    quote's lines that is the floor that stands beside them. The same number of queries for any
    number of products, prices and quotes; one query when nothing is priced or quoted.
    """
    return watched(on=on).slips


def watched(*, on: date, also: Collection[int] = ()) -> Watched:
    """The same, how many floors are not known, and the costs that it rests on: also those of the
    products `also` by id."""
    entries = [each for each in entries_on(on) if each.tier.active and each.product.active]
    lines = _open_lines(on)
    products = {each.product_id for each in entries} | {each.product_id for each in lines}
    products |= set(also)
    if not products:
        return Watched(slips=(), costs={})
    tiers = {each.tier_id: each.tier for each in entries}
    tiers |= {each.tier_id: each.tier for each in lines}
    costs = product_costs(products, on=on)
    fees = fees_of_tiers(tiers.values(), on=on)
    floors = floors_from(tiers.values(), costs, by_pair(entries), fees=fees)
    known = Known(floors=floors, fees=fees)
    found = [_entry_slip(entry, known) for entry in entries]
    found += [_line_slip(line, known) for line in lines]
    asked = [(each.product_id, each.tier_id, each.from_quantity) for each in entries]
    asked += [(each.product_id, each.tier_id, each.quantity) for each in lines]
    return Watched(
        slips=tuple(slip for slip in found if slip is not None),
        costs=costs,
        not_known=sum(
            1 for product, tier, quantity in asked if floors[product, tier].at(quantity) is None
        ),
    )


def _open_lines(on: date) -> Sequence[QuoteLine]:
    """Lines of drafts and of sent quotes that are valid still. One query."""
    valid = Q(quote__state=QuoteState.SENT, quote__valid_until__gte=on)
    rows = QuoteLine.objects.filter(Q(quote__state=QuoteState.DRAFT) | valid)
    return list(
        rows.select_related("quote__customer", "product", "tier").order_by(
            "quote__code", "position"
        )
    )


def _entry_slip(entry: PriceEntry, known: Known) -> Slip | None:
    floor = known.floors[entry.product_id, entry.tier_id]
    sure, least = floor.at(entry.from_quantity), floor.at_least(entry.from_quantity)
    if least is None or entry.price >= least:
        return None
    if entry.override_floor is not None and least <= entry.override_floor:
        return None
    tier = entry.tier
    return Slip(
        subject=f"price:{entry.product.code}/{tier.code}/{entry.from_quantity}",
        product=entry.product.code,
        product_name=entry.product.name,
        tier=tier.code,
        tier_name=tier.name,
        quantity=entry.from_quantity,
        price=entry.price,
        floor=least,
        restoring=None
        if sure is None
        else restoring_price(sure, discount=Decimal(0), step=tier.step, ending=tier.ending),
        cost=floor.cost,
        basis=floor.basis,
        margin=_margin(
            entry.price, floor, tier, terms_of(tier, known.fees[tier.pk], entry.from_quantity)
        ),
        wanted_margin=tier.wanted_margin,
        floor_margin=tier.floor_margin,
    )


def _line_slip(line: QuoteLine, known: Known) -> Slip | None:
    """A line against its floor without tax: a quote may be written otherwise than its tier."""
    quote, tier = line.quote, line.tier
    floor = known.floors[line.product_id, line.tier_id]
    sure, least = floor.at(line.quantity), floor.at_least(line.quantity)
    if least is None:
        return None
    asked = Fraction(line.price) * (1 - Fraction(quote.discount))
    least_net = _net(least, tier)
    if _net(asked, quote) >= least_net:
        return None
    answered = line.floor_at_least if line.floor is None else line.floor
    if quote.override_reason and answered is not None and least_net <= _net(answered, quote):
        return None
    with_tax = 1 + Fraction(quote.tax_share) if quote.tax_included else 1
    written = math.ceil(least_net * with_tax)
    return Slip(
        subject=f"quote:{quote.code}/{line.position}",
        product=line.product.code,
        product_name=line.product.name,
        tier=tier.code,
        tier_name=tier.name,
        quantity=line.quantity,
        price=line.price,
        floor=written,
        restoring=None
        if sure is None
        else restoring_price(written, discount=quote.discount, step=tier.step, ending=tier.ending),
        cost=floor.cost,
        basis=floor.basis,
        margin=_margin(asked, floor, quote, terms_of(tier, known.fees[tier.pk], line.quantity)),
        wanted_margin=tier.wanted_margin,
        floor_margin=tier.floor_margin,
        discount=quote.discount,
        quote=quote.code,
        customer=quote.customer.name,
        position=line.position,
        state=quote.state,
    )


def _net(price: int | Fraction, written: Tier | Quote) -> Fraction:
    return without_tax(price, tax_share=written.tax_share, tax_included=written.tax_included)


def _margin(
    asked: int | Fraction, floor: Floor, written: Tier | Quote, terms: Terms
) -> Decimal | None:
    """What a price keeps of itself without tax, after fees; None where no cost is known."""
    if floor.cost is None:
        return None
    terms = replace(terms, tax_share=written.tax_share, tax_included=written.tax_included)
    return kept_margin(asked, floor.cost, terms=terms)
