"""The price list on a day, and the floor and the wanted price of each product on each tier."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from django.conf import settings
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from costing.domain.prices.ladder import (
    Rung,
    Terms,
    TierLadder,
    on_ending,
    price_keeping,
    restoring_price,
)
from costing.domain.rates.rates import Fees
from costing.errors import PriceNotPossible
from costing.models.prices.prices import PriceEntry, Product, Tier
from costing.queries.bar_cost.product_costs import ProductCost, product_costs
from costing.queries.rates.rates import fees_by_tier
from studio.foundation.hints import Money
from studio.foundation.money import PER_UNIT, currency_digits

Pair = tuple[int, int]
Ladder = tuple[PriceEntry, ...]
#: What a floor rests on.
ACTUAL, REPLACEMENT, OWN, UNKNOWN = "actual", "replacement", "own", ""


def coin() -> int:
    """The smallest amount that the studio's currency is paid in, in ten-thousandths."""
    return int(PER_UNIT // 10 ** currency_digits(settings.STUDIO_CURRENCY))


def tier_ladders(entries: Iterable[PriceEntry]) -> list[TierLadder]:
    """One product's entries as ladders of its active tiers, highest step first."""
    rungs: dict[Tier, list[Rung]] = defaultdict(list)
    for entry in entries:
        if entry.tier.active:
            rung = Rung(from_quantity=entry.from_quantity, price=entry.price)
            rungs[entry.tier].append(rung)
    return [
        TierLadder(
            name=tier.name,
            rungs=tuple(rungs[tier]),
            tax_share=tier.tax_share,
            tax_included=tier.tax_included,
        )
        for tier in sorted(rungs, key=lambda each: (each.position, each.code))
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """The lowest price of a product on a tier, by the bar, as the tier writes its prices.

    `price` is the one for the fewest bars that the tier's list sells (one bar without a list);
    None where some cost is not known and no floor was set; `note` then says why. `cost` is the
    higher of actual and replacement cost, `basis` which of them that is, or "own" where the list
    sets that floor itself (`explicit`). What is not known wholly gives no floor, but what is known
    of it (`cost_at_least`) the least that the floor can be. `own` are the floors that the list
    sets, by the quantity from which they hold; None where a rung sets none.
    """

    price: Money | None
    cost: int | None
    cost_at_least: int | None
    basis: str
    explicit: bool
    tier: Tier
    fees: Fees
    own: tuple[tuple[int, int | None], ...] = ()
    note: str = ""

    def at(self, quantity: int) -> int | None:
        """The floor for a quantity: its rung's own, else the one that the cost gives."""
        reached = [floor for start, floor in self.own if start <= quantity]
        own = reached[-1] if reached else None
        return self.by_cost(quantity) if own is None else own

    def by_cost(self, quantity: int) -> int | None:
        """The lowest price that keeps the floor margin, a sale's fixed fee shared by its bars."""
        return self._keeping(self.cost, self.tier.floor_margin, quantity)

    def at_least(self, quantity: int) -> int | None:
        """The floor for a quantity, or where it is not known the least that it can be.

        Below that a price is under its floor for certain; above it nobody knows.
        """
        known = self.at(quantity)
        return self.by_what_is_known(quantity) if known is None else known

    def by_what_is_known(self, quantity: int) -> int | None:
        """The lowest price that keeps the floor margin over what is known of the cost."""
        return self._keeping(self.cost_at_least, self.tier.floor_margin, quantity)

    def wanted(self, quantity: int) -> int | None:
        """The lowest price that keeps the wanted margin, and is not under the floor."""
        wanted = self._keeping(self.cost, self.tier.wanted_margin, quantity)
        floor = self.at(quantity)
        if wanted is None or floor is None or wanted >= floor:
            return wanted
        return on_ending(floor, step=self.tier.step, ending=self.tier.ending)

    def _keeping(self, cost: int | None, margin: Decimal, quantity: int) -> int | None:
        if cost is None:
            return None
        terms = terms_of(self.tier, self.fees, quantity)
        try:
            return price_keeping(cost, margin=margin, terms=terms)
        except PriceNotPossible:
            return None


def entries_on(on: date, where: Q | None = None) -> "QuerySet[PriceEntry]":
    """The entries that hold on a day, smallest quantity first, each with product and tier."""
    later = PriceEntry.objects.filter(
        product=OuterRef("product"),
        tier=OuterRef("tier"),
        from_quantity=OuterRef("from_quantity"),
        effective_from__gt=OuterRef("effective_from"),
        effective_from__lte=on,
    )
    return (
        PriceEntry.objects.filter(where or Q(), ~Exists(later), effective_from__lte=on)
        .filter(Q(ended_on__isnull=True) | Q(ended_on__gt=on))
        .select_related("product", "tier")
        .order_by("product__code", F("tier__position"), "tier__code", "from_quantity")
    )


def by_pair(entries: Iterable[PriceEntry]) -> dict[Pair, Ladder]:
    """Entries as ladders by product and tier, in the order of their quantities."""
    found: dict[Pair, list[PriceEntry]] = defaultdict(list)
    for entry in entries:
        found[entry.product_id, entry.tier_id].append(entry)
    return {
        pair: tuple(sorted(rungs, key=lambda each: each.from_quantity))
        for pair, rungs in found.items()
    }


def list_prices(pairs: Collection[Pair], *, on: date) -> dict[Pair, Ladder]:
    """The ladder of each (product id, tier id) on a day; empty where there is none. One query."""
    products, tiers = {pair[0] for pair in pairs}, {pair[1] for pair in pairs}
    found = by_pair(entries_on(on, Q(product__in=products, tier__in=tiers)))
    return {pair: found.get(pair, ()) for pair in pairs}


def price_for(ladder: Sequence[PriceEntry], quantity: int) -> PriceEntry | None:
    """The entry that holds for a quantity: that of the largest `from_quantity` within it."""
    reached = [entry for entry in ladder if entry.from_quantity <= quantity]
    return max(reached, key=lambda entry: entry.from_quantity, default=None)


def floors(
    product_ids: Collection[int], tier_ids: Collection[int], *, on: date
) -> dict[Pair, Floor]:
    """The floor of each product on each tier. A fixed number of queries for any products.

    A list's own floor holds alone; else it is the lowest price on the tier's ending that keeps the
    tier's floor margin over the higher of actual and replacement cost, after the tier's fees, and
    not known where one of these is not. A sale's fixed fee is shared by its bars, so the floor of a
    larger quantity may be lower.
    """
    tiers = list(Tier.objects.filter(pk__in=set(tier_ids)))
    ladders = list_prices([(pk, tier.pk) for pk in product_ids for tier in tiers], on=on)
    costs = product_costs(product_ids, on=on)
    return floors_from(tiers, costs, ladders, fees=fees_of_tiers(tiers, on=on))


def fees_of_tiers(tiers: Iterable[Tier], *, on: date) -> dict[int, Fees]:
    """What selling on each tier costs, by the tier's id. One query."""
    known = {tier.code: tier.pk for tier in tiers}
    found = fees_by_tier(list(known), on)
    return {pk: found[code] for code, pk in known.items()}


def floors_from(
    tiers: Iterable[Tier],
    costs: Mapping[int, ProductCost],
    ladders: Mapping[Pair, Sequence[PriceEntry]],
    *,
    fees: Mapping[int, Fees],
) -> dict[Pair, Floor]:
    """The floors where costs, fees and ladders are known already; reads nothing."""
    return {
        (pk, tier.pk): _floor(tier, cost, fees[tier.pk], ladders.get((pk, tier.pk), ()))
        for tier in tiers
        for pk, cost in costs.items()
    }


def terms_of(tier: Tier, fees: Fees, bars: int) -> Terms:
    """A tier's way of writing prices and its fees, in a sale of so many bars."""
    return Terms(
        step=tier.step,
        ending=tier.ending,
        tax_share=tier.tax_share,
        tax_included=tier.tax_included,
        fee_share=fees.share,
        # upward, so that a floor never rests on a part of a fee that nobody bears
        fee_fixed=-(-fees.fixed_per_sale // max(1, bars)),
    )


def higher_cost(cost: ProductCost) -> tuple[int | None, str]:
    """The higher of actual and replacement cost, and which of them it is.

    None where one of them is not known: the other could be the lower one.
    """
    if not cost.known:
        return None, UNKNOWN
    known = [(cost.actual, ACTUAL), (cost.replacement, REPLACEMENT)]
    found = [(value, basis) for value, basis in known if value is not None]
    return max(found, key=lambda each: each[0])


def least_cost(cost: ProductCost) -> int | None:
    """What is known of the higher of both costs, which is at least that; None of nothing."""
    known = (cost.actual_at_least, cost.replacement_at_least, cost.actual, cost.replacement)
    return max((value for value in known if value is not None), default=None)


def _floor(tier: Tier, cost: ProductCost, fees: Fees, ladder: Sequence[PriceEntry]) -> Floor:
    value, basis = higher_cost(cost)
    own = tuple((entry.from_quantity, entry.floor) for entry in ladder)
    explicit = bool(own) and own[0][1] is not None
    floor = Floor(
        price=None,
        cost=value,
        cost_at_least=least_cost(cost),
        basis=OWN if explicit else basis,
        explicit=explicit,
        tier=tier,
        fees=fees,
        own=own,
    )
    price = floor.at(own[0][0] if own else 1)
    return replace(floor, price=price, note="" if price is not None else _why(floor, cost.notes))


def _why(floor: Floor, notes: Sequence[str]) -> str:
    """In words, why there is no floor."""
    if floor.cost is None:
        return " ".join(notes) or "Its cost is not known."
    if floor.cost == 0:
        return "Its cost is zero, so any price is above it."
    return f"The margin and the fees of {floor.tier.name} take the whole price."


def restoring_for(
    product: Product, tier: Tier, *, quantity: int, own_floor: int | None, on: date
) -> int | None:
    """The lowest price on the tier's ending at or above the floor of a quantity on a day.

    The floor is `own_floor` where one is given, else what the cost gives; None where the cost is
    not known. As many queries as `floors`.
    """
    floor = own_floor
    if floor is None:
        floor = floors([product.pk], [tier.pk], on=on)[product.pk, tier.pk].by_cost(quantity)
    if floor is None:
        return None
    return restoring_price(floor, discount=Decimal(0), step=tier.step, ending=tier.ending)
