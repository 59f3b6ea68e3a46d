"""What many recipes need, bought at once as `replacement.purchases_for` buys for each of them.

The rules are those of `costing.domain.replacement`, over columns instead of one need at a time;
every figure is the same to the last unit. An offer that floating point cannot tell from another is
compared exactly, and a recipe whose figures do not fit into 64 bits is bought for by those rules
themselves.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from costing.domain.exact_division import (
    LARGEST_DIVISOR,
    SAFE,
    Column,
    divided,
    divided_down,
    summed,
)
from costing.domain.replacement import OfferTerms, purchases_for
from inventory.domain.lots import MovingAverage

Mask = NDArray[np.bool_]
Floats = NDArray[np.float64]

#: Prices per unit that differ by less than this share are compared exactly.
NEAR = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Needs:
    """What recipes need: a cell for each recipe and material, in the order of the recipes.

    `starts` says where each recipe's cells begin and, last, where they all end. `material` is a
    place in `materials` (ids). Amounts are ng or pieces, above zero.
    """

    starts: Column
    recipe: Column
    material: Column
    amount: Column
    materials: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bought:
    """The cost of each cell, and which cells have no price (they cost 0 here)."""

    cost: Column
    unpriced: Mask


def needs_of(recipes: Iterable[Mapping[int, int]]) -> Needs:
    """The needs of recipes (material id -> amount) as columns."""
    counts: list[int] = [0]
    materials: list[int] = []
    amounts: list[int] = []
    for needs in recipes:
        some = [(pk, amount) for pk, amount in needs.items() if amount]
        materials += [pk for pk, _ in some]
        amounts += [amount for _, amount in some]
        counts.append(len(some))
    ids = tuple(dict.fromkeys(materials))
    place = {pk: index for index, pk in enumerate(ids)}
    return Needs(
        starts=np.cumsum(counts, dtype=np.int64),
        recipe=np.repeat(np.arange(len(counts) - 1), counts[1:]),
        material=np.array([place[pk] for pk in materials], dtype=np.int64),
        amount=np.array(amounts, dtype=np.int64),
        materials=ids,
    )


def averaged(needs: Needs, averages: Mapping[int, MovingAverage]) -> Bought:
    """Each cell at the average of what is held of its material (IAS 2 paragraph 25)."""
    held = [averages.get(pk, MovingAverage()) for pk in needs.materials]
    quantity = np.array([each.quantity for each in held], dtype=np.int64)[needs.material]
    cost = np.array([each.cost for each in held], dtype=np.int64)[needs.material]
    unpriced = quantity <= 0
    found = divided(np.where(unpriced, 0, needs.amount), cost, np.maximum(quantity, 1))
    return Bought(cost=found, unpriced=unpriced)


def replaced_at_once(needs: Needs, offers: Mapping[int, Sequence[OfferTerms]]) -> Bought:
    """Each cell at the best offer for the recipe's needs, with its part of the freight.

    Raises OverflowError for a cost beyond 64 bits.
    """
    catalog = _Catalog(needs, offers)
    goods, ordered, cell = catalog.goods, catalog.ordered, catalog.cell
    plainly = np.zeros(len(needs.starts) - 1, dtype=np.bool_)
    plainly[needs.recipe[cell[catalog.beyond]]] = True
    chosen = _chosen(needs, catalog, goods, ordered, plainly)
    unpriced = chosen < 0
    taken = np.where(unpriced, 0, chosen)
    worth = np.where(unpriced, 0, goods[taken] if goods.size else 0)
    freight = _freight(needs, catalog, taken, np.where(unpriced, 0, worth), unpriced)
    size = np.where(unpriced, 1, ordered[taken] if goods.size else 1)
    skip = unpriced | plainly[needs.recipe]
    cost = divided(np.where(skip, 0, worth + freight), needs.amount, np.where(skip, 1, size))
    for recipe in np.nonzero(plainly)[0]:
        _buy_plainly(needs, int(recipe), offers, cost)
    return Bought(cost=cost, unpriced=unpriced)


class _Catalog:
    """The offers as columns, and each cell's candidates: what it would order of each offer."""

    def __init__(self, needs: Needs, offers: Mapping[int, Sequence[OfferTerms]]) -> None:
        rows = [tuple(offers.get(pk, ())) for pk in needs.materials]
        self.offers = [offer for some in rows for offer in some]
        counts = np.array([len(some) for some in rows], dtype=np.int64)
        first = np.concatenate(([0], np.cumsum(counts)))[:-1]
        per_cell = counts[needs.material]
        self.ends = np.cumsum(per_cell)
        begin = self.ends - per_cell
        self.cell = np.repeat(np.arange(len(per_cell)), per_cell)
        within = np.arange(len(self.cell)) - np.repeat(begin, per_cell)
        self.offer = first[needs.material][self.cell] + within
        self.counts = per_cell
        self.begin = begin
        terms = {offer.supplier.id: offer.supplier for offer in self.offers}
        self.suppliers = list(terms.values())
        places = {pk: place for place, pk in enumerate(terms)}
        self.supplier_of_offer = _of(places[offer.supplier.id] for offer in self.offers)
        self.ids = _of(offer.id for offer in self.offers)
        self.supplier = self.supplier_of_offer[self.offer]
        self._order(needs)

    def _order(self, needs: Needs) -> None:
        """Whole packs for each candidate, at the price that their number reaches."""
        pack = _of(offer.pack_amount for offer in self.offers)[self.offer]
        least = _of(offer.minimum_packs for offer in self.offers)[self.offer]
        amount = needs.amount[self.cell]
        packs = np.maximum(least, (amount - 1) // pack + 1)
        price = _of(offer.price for offer in self.offers)[self.offer]
        for level in range(max((len(offer.breaks) for offer in self.offers), default=0)):
            steps = [
                (offer.breaks[level].from_packs, offer.breaks[level].price)
                if level < len(offer.breaks)
                else (2**62, 0)
                for offer in self.offers
            ]
            reached = packs >= _of(step[0] for step in steps)[self.offer]
            price = np.where(reached, _of(step[1] for step in steps)[self.offer], price)
        self.beyond: Mask = (packs * price.astype(np.float64) >= SAFE / 2**12) | (
            packs * pack.astype(np.float64) > LARGEST_DIVISOR
        )
        packs = np.where(self.beyond, 1, packs)
        self.goods = packs * np.where(self.beyond, 0, price)
        self.ordered = packs * pack

    def freights(self, supplier: Column, goods: Column) -> Column:
        """What each order of a supplier (a place) with goods of that worth pays for freight."""
        charge = _of(each.freight for each in self.suppliers)[supplier]
        free = _of(
            2**63 - 1 if each.free_freight_from is None else each.free_freight_from
            for each in self.suppliers
        )[supplier]
        return np.where(goods >= free, 0, charge)


def _of(values: Iterable[int]) -> Column:
    return np.fromiter(values, dtype=np.int64)


def _chosen(
    needs: Needs, catalog: _Catalog, goods: Column, ordered: Column, plainly: Mask
) -> Column:
    """The best candidate of each cell (-1 without any): the cheapest per unit with freight."""
    if not goods.size:
        return np.full(len(needs.amount), -1)
    worth, freight = _reckoned(needs, catalog, goods)
    rate = freight / np.maximum(worth, 1)
    landed = goods / ordered * (1 + rate)
    some = catalog.counts > 0
    lowest = np.full(len(needs.amount), np.inf)
    lowest[some] = np.minimum.reduceat(landed, catalog.begin[some])
    near = landed <= lowest[catalog.cell] * (1 + NEAR)
    found = np.full(len(needs.amount), -1)
    places = np.nonzero(near)[0]
    found[catalog.cell[places[::-1]]] = places[::-1]
    alike = np.bincount(catalog.cell[places], minlength=len(needs.amount)) > 1
    alike &= ~plainly[needs.recipe]
    for cell in np.nonzero(alike)[0]:
        begin, end = catalog.begin[cell], catalog.ends[cell]
        found[cell] = min(
            (int(place) for place in range(begin, end) if near[place]),
            key=lambda place: _landed(catalog, place, worth, freight),
        )
    return found


def _landed(
    catalog: _Catalog, place: int, worth: Column, freight: Column
) -> tuple[Fraction, int, int]:
    """As the rules compare offers, exactly."""
    whole = int(worth[place])
    rate = Fraction(int(freight[place]), whole) if whole else Fraction(0)
    goods = int(catalog.goods[place])
    price = Fraction(goods, int(catalog.ordered[place])) * (1 + rate)
    return (price, goods, int(catalog.ids[catalog.offer[place]]))


def _reckoned(needs: Needs, catalog: _Catalog, goods: Column) -> tuple[Column, Column]:
    """For each candidate the worth of all that its supplier offers of the needs, and its freight.

    Of several offers of a supplier for one need the cheapest order counts.
    """
    many = len(catalog.suppliers)
    of_cell = catalog.cell * many + catalog.supplier
    order = np.argsort(of_cell, kind="stable")
    keys = of_cell[order]
    first = np.concatenate(([True], keys[1:] != keys[:-1]))
    begins = np.nonzero(first)[0]
    least = np.minimum.reduceat(goods[order], begins)
    cells = keys[begins] // many
    groups = needs.recipe[cells] * many + keys[begins] % many
    names, place = np.unique(groups, return_inverse=True)
    worth = np.zeros(len(names), dtype=np.int64)
    np.add.at(worth, place, least)
    freight = catalog.freights(names % many, worth)
    at = np.searchsorted(names, needs.recipe[catalog.cell] * many + catalog.supplier)
    return worth[at], freight[at]


def _freight(
    needs: Needs, catalog: _Catalog, taken: Column, worth: Column, unpriced: Mask
) -> Column:
    """Each cell's part of the freight of its order: by worth, largest remainder."""
    freight = np.zeros(len(worth), dtype=np.int64)
    cells = np.nonzero(~unpriced)[0]
    if not cells.size:
        return freight
    many = len(catalog.suppliers)
    group = needs.recipe[cells] * many + catalog.supplier[taken[cells]]
    order = np.argsort(group, kind="stable")
    cells, group = cells[order], group[order]
    begins = np.nonzero(np.concatenate(([True], group[1:] != group[:-1])))[0]
    starts = np.append(begins, len(cells))
    sizes = np.diff(starts)
    goods = summed(worth[cells], starts)
    charge = catalog.freights(group[begins] % many, goods)
    weights = np.where(np.repeat(goods, sizes) > 0, worth[cells], 1)
    whole = np.where(goods > 0, goods, sizes)
    part, rest = divided_down(weights, np.repeat(charge, sizes), np.repeat(whole, sizes))
    left = charge - summed(part, starts)
    ranked = np.lexsort((np.arange(len(cells)), -rest, np.repeat(np.arange(len(sizes)), sizes)))
    rank = np.empty(len(cells), dtype=np.int64)
    rank[ranked] = np.arange(len(cells)) - np.repeat(begins, sizes)
    freight[cells] = part + (rank < np.repeat(left, sizes))
    return freight


def _buy_plainly(
    needs: Needs, recipe: int, offers: Mapping[int, Sequence[OfferTerms]], cost: Column
) -> None:
    begin, end = int(needs.starts[recipe]), int(needs.starts[recipe + 1])
    ids = [needs.materials[place] for place in needs.material[begin:end]]
    wanted = dict(zip(ids, (int(each) for each in needs.amount[begin:end]), strict=True))
    lines = purchases_for(wanted, offers).lines
    for place, pk in enumerate(ids, begin):
        cost[place] = lines[pk].cost if pk in lines else 0
