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

What nobody offers costs what was last paid for it, with the freight it bore then: such terms have a
day (`paid_on`), and whoever shows the cost says so. Freight is a cost of purchase (IAS 2
paragraph 11). Money is ten-thousandths; amounts ng or pieces.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from costing.errors import CostNotKnown
from inventory.domain.catalog.packs import PriceBreak, pack_price
from studio.foundation.errors import Faults
from studio.foundation.money import quotient, split


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
    """An offer that holds: one pack's amount and price, cheaper ones for more packs.

    With `paid_on` it is no offer, but what was last paid, that day, for so much of the material.
    """

    id: int
    code: str
    supplier: SupplierTerms
    pack_amount: int
    price: int
    breaks: Sequence[PriceBreak] = ()
    minimum_packs: int = 1
    paid_on: date | None = None

    def order_for(self, need: int) -> "Order":
        """The whole packs that cover a need."""
        packs = max(self.minimum_packs, -(-need // self.pack_amount))
        price = pack_price(packs, price=self.price, breaks=self.breaks)
        return Order(self, packs, packs * price, packs * self.pack_amount)


class Order(NamedTuple):
    """So many packs of an offer: what they cost without freight, and how much comes."""

    offer: OfferTerms
    packs: int
    goods: int
    amount: int


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
        return quotient((self.goods + self.freight) * self.need, self.ordered)

    @property
    def freight_part(self) -> int:
        """What of the cost is freight."""
        return self.cost - quotient(self.goods * self.need, self.ordered)


def last_paid(material: int, *, amount: int, cost: int, on: date) -> OfferTerms:
    """What was last paid for a material (by id), landed, in place of an offer.

    A supplier of its own bears no freight: that is in the price. More or less of it costs in
    proportion.
    """
    return OfferTerms(
        id=-material,
        code=f"last paid {on.isoformat()}",
        supplier=SupplierTerms(id=-material),
        pack_amount=amount,
        price=cost,
        paid_on=on,
    )


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
    orders = {
        pk: [offer.order_for(need) for offer in offers[pk]]
        for pk, need in needs.items()
        if need and offers.get(pk)
    }
    rates = _freight_rates(orders.values())
    chosen = {pk: _cheapest(some, rates) for pk, some in orders.items()}
    by_supplier: dict[int, list[int]] = defaultdict(list)
    for pk, order in chosen.items():
        by_supplier[order.offer.supplier.id].append(pk)
    freights: dict[int, int] = {}
    for pks in by_supplier.values():
        goods = [chosen[pk].goods for pk in pks]
        freight = chosen[pks[0]].offer.supplier.freight_of(sum(goods))
        weights = goods if any(goods) else [1] * len(goods)
        freights.update(zip(pks, split(freight, weights), strict=True))
    return Purchases(
        lines={
            pk: Purchase(
                offer=order.offer,
                need=needs[pk],
                packs=order.packs,
                goods=order.goods,
                freight=freights[pk],
            )
            for pk, order in chosen.items()
        },
        missing=tuple(pk for pk, need in needs.items() if need and pk not in orders),
    )


def _freight_rates(needs: Iterable[Sequence[Order]]) -> dict[int, tuple[int, int]]:
    """Freight on an order of all that a supplier offers of the needs, and the worth of its goods.

    Of several offers of a supplier for one need the cheapest counts.
    """
    goods: dict[int, int] = defaultdict(int)
    terms: dict[int, SupplierTerms] = {}
    for orders in needs:
        cheapest: dict[int, int] = {}
        for order in orders:
            supplier = order.offer.supplier
            terms[supplier.id] = supplier
            cheapest[supplier.id] = min(cheapest.get(supplier.id, order.goods), order.goods)
        for pk, worth in cheapest.items():
            goods[pk] += worth
    return {
        pk: (terms[pk].freight_of(worth), worth) if worth else (0, 1) for pk, worth in goods.items()
    }


def _cheapest(orders: Sequence[Order], rates: Mapping[int, tuple[int, int]]) -> Order:
    """The lowest price per unit with freight; then the smaller purchase, then the older offer.

    That price is goods / amount x (1 + freight / worth); fractions are compared crosswise.
    """
    best, *others = orders
    over, under = _landed(best, rates)
    for order in others:
        above, below = _landed(order, rates)
        mine = (above * under, order.goods, order.offer.id)
        if mine < (over * below, best.goods, best.offer.id):
            best, over, under = order, above, below
    return best


def _landed(order: Order, rates: Mapping[int, tuple[int, int]]) -> tuple[int, int]:
    """The price per unit with freight: what is above the line, and what is below."""
    freight, worth = rates[order.offer.supplier.id]
    return order.goods * (worth + freight), order.amount * worth


def _check(needs: Mapping[int, int], offers: Mapping[int, Iterable[OfferTerms]]) -> None:
    faults = Faults()
    for pk, need in needs.items():
        if need < 0:
            faults.add("below-zero", "A need cannot be below zero.", f"needs.{pk}")
        for offer in offers.get(pk, ()):
            if offer.pack_amount <= 0 or offer.price < 0 or offer.minimum_packs < 1:
                faults.add(
                    "offer-makes-no-sense",
                    f"The offer {offer.code} has an empty pack or a price below zero.",
                    f"offers.{offer.id}",
                )
    faults.raise_if_any(CostNotKnown)
