"""One product's whole price ladder: each tier and quantity with price, tax, margins and floor."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from costing.domain.prices.ladder import (
    Rung,
    Terms,
    TierLadder,
    kept_margin,
    ladder_faults,
    markup_kept,
)
from costing.domain.quotes.quoting import TaxedPrice, taxed
from costing.models.prices.prices import PriceEntry, Product, Tier
from costing.queries.bar_cost.not_known import NotKnown
from costing.queries.bar_cost.product_costs import ProductCost, product_costs
from costing.queries.prices.prices import (
    Floor,
    coin,
    fees_of_tiers,
    floors_from,
    list_prices,
    terms_of,
)
from studio.foundation.errors import NotFound
from studio.foundation.hints import Money, Share


class RungState(StrEnum):
    """How a listed price stands to its floor and to what is wanted."""

    KEEPS = "keeps_margin"
    BELOW_WANTED = "below_wanted"
    UNDER_FLOOR = "under_floor"
    OVERRIDDEN = "under_floor_by_owner"
    NO_COST = "cost_unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What a price keeps over one cost, after fees; None where that cost is not known wholly."""

    cost: Money | None
    margin: Share | None
    markup: Share | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RungView:
    """A price that is listed, in whole coins, and what it keeps."""

    entry: PriceEntry
    price: TaxedPrice
    actual: Kept
    replacement: Kept
    floor: Money | None
    floor_at_least: Money | None
    wanted: Money | None
    state: RungState


@dataclass(frozen=True, slots=True, kw_only=True)
class TierView:
    """A tier's prices for the product, and its floor, which stands without a price as well."""

    tier: Tier
    floor: Floor
    rungs: tuple[RungView, ...]

    @property
    def wanted(self) -> Money | None:
        """The price wanted for the fewest bars that the tier sells."""
        return self.floor.wanted(self.rungs[0].entry.from_quantity if self.rungs else 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class LadderView:
    """The ladder of a product on a day, highest step first."""

    product: Product
    on: date
    cost: ProductCost
    tiers: tuple[TierView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """A price for a tier from a quantity on that keeps the wanted margin, or why there is none.

    None is told where a cost is not known: it would be too low. `listed` is what is asked now.
    """

    tier: Tier
    from_quantity: int
    price: Money | None
    floor: Money | None
    listed: Money | None
    note: str


def price_ladder(product_code: str, *, on: date, lacking: NotKnown | None = None) -> LadderView:
    """All active tiers and quantities of a product on a day. A fixed number of queries.

    Raises NotFound for an unknown product.
    """
    product = Product.objects.filter(code=product_code).first()
    if product is None:
        raise NotFound(f"There is no product {product_code}.", field="product")
    costs = product_costs([product.pk], on=on, lacking=lacking)
    return price_ladders([product], on=on, costs=costs)[0]


def price_ladders(
    products: Sequence[Product], *, on: date, costs: Mapping[int, ProductCost] | None = None
) -> list[LadderView]:
    """The ladders of several products on a day. A fixed number of queries, however many.

    `costs` by product are read when they are not there yet.
    """
    tiers = list(Tier.objects.filter(active=True))
    pks = [product.pk for product in products]
    ladders = list_prices([(pk, tier.pk) for pk in pks for tier in tiers], on=on)
    if costs is None:
        costs = product_costs(pks, on=on)
    floors = floors_from(tiers, costs, ladders, fees=fees_of_tiers(tiers, on=on))
    return [
        LadderView(
            product=product,
            on=on,
            cost=costs[product.pk],
            tiers=tuple(
                _tier_view(
                    ladders[product.pk, tier.pk], floors[product.pk, tier.pk], costs[product.pk]
                )
                for tier in tiers
            ),
        )
        for product in products
    ]


def suggested_prices(
    product_code: str, *, on: date, quantities: Sequence[int] = ()
) -> tuple[Suggestion, ...]:
    """For every active tier a price at each quantity of its list (else from one bar on), or at
    those that are named. Raises NotFound for an unknown product.

    `note` says where such prices would not make a ladder, or why there is none.
    """
    return suggestions_of(price_ladder(product_code, on=on), quantities=quantities)


def suggestions_of(view: LadderView, *, quantities: Sequence[int] = ()) -> tuple[Suggestion, ...]:
    """The same of a ladder that is there already; reads nothing."""
    found: list[Suggestion] = []
    above: list[TierLadder] = []
    for each in view.tiers:
        listed = {rung.entry.from_quantity: rung.entry.price for rung in each.rungs}
        starts = sorted(set(quantities)) or sorted(listed) or [1]
        made = [_suggestion(each, start, listed.get(start)) for start in starts]
        rungs = tuple(
            Rung(from_quantity=one.from_quantity, price=one.price)
            for one in made
            if one.price is not None
        )
        ladder = TierLadder(
            name=each.tier.name,
            rungs=rungs,
            tax_share=each.tier.tax_share,
            tax_included=each.tier.tax_included,
        )
        faults = ladder_faults([*above, ladder])
        above.append(ladder)
        note = " ".join(fault.message for fault in faults)
        found += [replace(one, note=one.note or note) for one in made]
    return tuple(found)


def _suggestion(view: TierView, quantity: int, listed: int | None) -> Suggestion:
    price = view.floor.wanted(quantity)
    return Suggestion(
        tier=view.tier,
        from_quantity=quantity,
        price=price,
        floor=view.floor.at(quantity),
        listed=listed,
        note=view.floor.note or "No price reaches its target margin." if price is None else "",
    )


def _tier_view(ladder: Sequence[PriceEntry], floor: Floor, cost: ProductCost) -> TierView:
    rungs = tuple(_rung_view(entry, floor, cost) for entry in ladder)
    return TierView(tier=floor.tier, floor=floor, rungs=rungs)


def _rung_view(entry: PriceEntry, floor: Floor, cost: ProductCost) -> RungView:
    tier, quantity = floor.tier, entry.from_quantity
    terms = terms_of(tier, floor.fees, quantity)
    known, least, wanted = floor.at(quantity), floor.at_least(quantity), floor.wanted(quantity)
    return RungView(
        entry=entry,
        price=taxed(
            entry.price, tax_share=tier.tax_share, tax_included=tier.tax_included, unit=coin()
        ),
        actual=_kept(entry.price, cost.actual, terms),
        replacement=_kept(entry.price, cost.replacement, terms),
        floor=known,
        floor_at_least=least,
        wanted=wanted,
        state=_state(entry, known, least, wanted),
    )


def _state(
    entry: PriceEntry, floor: int | None, least: int | None, wanted: int | None
) -> RungState:
    if least is not None and entry.price < least:
        told = entry.override_floor is None or least > entry.override_floor
        return RungState.UNDER_FLOOR if told else RungState.OVERRIDDEN
    if floor is None:
        return RungState.NO_COST
    if wanted is not None and entry.price < wanted:
        return RungState.BELOW_WANTED
    return RungState.KEEPS


def _kept(price: int, cost: int | None, terms: Terms) -> Kept:
    if cost is None:
        return Kept(cost=None, margin=None, markup=None)
    return Kept(
        cost=cost,
        margin=kept_margin(price, cost, terms=terms),
        markup=markup_kept(price, cost, terms=terms) if cost > 0 else None,
    )
