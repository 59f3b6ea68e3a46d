"""Replacement cost: what needs would cost to buy today, with their share of the freight.

The needs are priced as if they were ordered now, together:

1. Of each offer so many whole packs are ordered as cover the need (no fewer than its smallest
   order), each at the price that this number of packs reaches (price breaks).
2. A supplier's freight is charged on an order unless its goods reach the worth from which it is
   free. To choose between suppliers, freight is reckoned on the order that would hold all that the
   supplier offers of the needs. The offer with the lowest price per unit with that freight is best;
   then the smaller purchase, then the older offer.
3. The orders that result bear their own freight, spread over their lines by worth (largest
   remainder).
4. A need costs its part of what is ordered: the rest of a pack stays on the shelf and is worth what
   it cost. So the cost grows with the need, and a larger need may cost less per unit.

Freight is a cost of purchase (IAS 2 paragraph 11). Money is ten-thousandths; amounts ng or pieces.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from costing.errors import CostNotKnown
from inventory.domain.price_breaks import PriceBreak, pack_price
from studio.errors import Faults
from studio.money import split


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplierTerms:
    """What a supplier charges for an order; freight is free from goods of so much worth."""

    id: int
    freight: int = 0
    free_freight_from: int | None = None

    def freight_of(self, goods: int) -> int:
        """The freight of an order with goods of that worth."""
        free = self.free_freight_from
        return 0 if free is not None and goods >= free else self.freight


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferTerms:
    """An offer that holds: one pack's amount and price, cheaper ones for more packs."""

    id: int
    code: str
    supplier: SupplierTerms
    pack_amount: int
    price: int
    breaks: Sequence[PriceBreak] = ()
    minimum_packs: int = 1

    def packs_for(self, need: int) -> int:
        """The whole packs that cover a need."""
        return max(self.minimum_packs, -(-need // self.pack_amount))

    def goods_for(self, need: int) -> int:
        """What these packs cost, without freight."""
        packs = self.packs_for(need)
        return packs * pack_price(packs, price=self.price, breaks=self.breaks)


@dataclass(frozen=True, slots=True, kw_only=True)
class Purchase:
    """One line of the order that would be placed: `goods` and `freight` are the whole packs'.

    `cost` is what the need itself takes of both, rounded once; `freight_part` of it is freight.
    """

    offer: OfferTerms
    need: int
    packs: int
    goods: int
    freight: int

    @property
    def ordered(self) -> int:
        """How much comes (ng or pieces)."""
        return self.packs * self.offer.pack_amount

    @property
    def cost(self) -> int:
        """The need's part of goods and freight."""
        return round(Fraction((self.goods + self.freight) * self.need, self.ordered))

    @property
    def freight_part(self) -> int:
        """What of the cost is freight."""
        return self.cost - round(Fraction(self.goods * self.need, self.ordered))


@dataclass(frozen=True, slots=True, kw_only=True)
class Purchases:
    """What would be bought, by material id, and the materials that nobody offers."""

    lines: Mapping[int, Purchase]
    missing: tuple[int, ...] = ()


def purchases_for(
    needs: Mapping[int, int], offers: Mapping[int, Sequence[OfferTerms]]
) -> Purchases:
    """The purchases that replace needs, both keyed by material id; offers are those that hold.

    Raises CostNotKnown for a need below zero, an empty pack or a price below zero.
    """
    _check(needs, offers)
    wanted = {pk: need for pk, need in needs.items() if need and offers.get(pk)}
    rates = _freight_rates(wanted, offers)
    chosen = {
        pk: min(offers[pk], key=lambda offer: _landed(offer, need, rates))
        for pk, need in wanted.items()
    }
    orders: dict[int, list[int]] = defaultdict(list)
    for pk, offer in chosen.items():
        orders[offer.supplier.id].append(pk)
    freights: dict[int, int] = {}
    for pks in orders.values():
        goods = [chosen[pk].goods_for(wanted[pk]) for pk in pks]
        freight = chosen[pks[0]].supplier.freight_of(sum(goods))
        weights = goods if sum(goods) else [1] * len(goods)
        freights.update(zip(pks, split(freight, weights), strict=True))
    return Purchases(
        lines={
            pk: Purchase(
                offer=offer,
                need=wanted[pk],
                packs=offer.packs_for(wanted[pk]),
                goods=offer.goods_for(wanted[pk]),
                freight=freights[pk],
            )
            for pk, offer in chosen.items()
        },
        missing=tuple(pk for pk, need in needs.items() if need and not offers.get(pk)),
    )


def _freight_rates(
    needs: Mapping[int, int], offers: Mapping[int, Sequence[OfferTerms]]
) -> dict[int, Fraction]:
    """Freight per worth of goods, by supplier, on an order of all that it offers of the needs."""
    goods: dict[int, int] = defaultdict(int)
    terms: dict[int, SupplierTerms] = {}
    for pk, need in needs.items():
        cheapest: dict[int, int] = {}
        for offer in offers[pk]:
            terms[offer.supplier.id] = offer.supplier
            worth = offer.goods_for(need)
            cheapest[offer.supplier.id] = min(cheapest.get(offer.supplier.id, worth), worth)
        for supplier, worth in cheapest.items():
            goods[supplier] += worth
    return {
        supplier: Fraction(terms[supplier].freight_of(worth), worth) if worth else Fraction(0)
        for supplier, worth in goods.items()
    }


def _landed(
    offer: OfferTerms, need: int, rates: Mapping[int, Fraction]
) -> tuple[Fraction, int, int]:
    goods, ordered = offer.goods_for(need), offer.packs_for(need) * offer.pack_amount
    return (Fraction(goods, ordered) * (1 + rates[offer.supplier.id]), goods, offer.id)


def _check(needs: Mapping[int, int], offers: Mapping[int, Iterable[OfferTerms]]) -> None:
    faults = Faults()
    for pk, need in needs.items():
        if need < 0:
            faults.add("below-zero", "A need cannot be below zero.", f"needs.{pk}")
    for some in offers.values():
        for offer in some:
            if offer.pack_amount <= 0 or offer.price < 0 or offer.minimum_packs < 1:
                faults.add(
                    "offer-makes-no-sense",
                    f"The offer {offer.code} has an empty pack or a price below zero.",
                    f"offers.{offer.id}",
                )
    faults.raise_if_any(CostNotKnown)
