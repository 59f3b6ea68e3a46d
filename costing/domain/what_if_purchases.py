"""What many recipes need, bought at once as `replacement.purchases_for` buys for each of them.

The rules are those of `costing.domain.replacement`, over columns instead of one need at a time;
every figure is the same to the last unit. An offer that floating point cannot tell from another is
compared exactly, and a recipe whose figures do not fit into 64 bits is bought for by those rules
themselves.
"""

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from costing.domain.exact_division import (
    LARGEST_DIVISOR,
    SAFE,
    Column,
    divided,
    divided_down,
)
from costing.domain.replacement import OfferTerms, purchases_for
from costing.domain.what_if_needs import Bought, Mask, Needs

Floats = NDArray[np.float64]

#: Whole numbers below it, and their sums, are exact in floating point.
EXACT_IN_FLOAT = float(2**53)
#: Prices per unit that differ by less than this share are compared exactly.
NEAR = 1e-9


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


def replaced_again(
    needs: Needs,
    offers: Mapping[int, Sequence[OfferTerms]],
    *,
    before: Bought,
    old: Mapping[int, Sequence[OfferTerms]],
) -> Bought:
    """The same where `before` was bought at `old` offers: only for recipes that others touch.

    Freight joins all that a recipe needs, so a recipe is bought for anew as a whole.
    """
    moved = np.array([offers.get(pk) != old.get(pk) for pk in needs.materials], dtype=np.bool_)
    touched = np.zeros(len(needs.starts) - 1, dtype=np.bool_)
    touched[needs.recipe[moved[needs.material]]] = True
    cells = touched[needs.recipe]
    if not cells.any():
        return before
    sizes = np.diff(needs.starts)[touched]
    part = Needs(
        starts=np.concatenate(([0], np.cumsum(sizes))),
        recipe=np.repeat(np.arange(len(sizes)), sizes),
        material=needs.material[cells],
        amount=needs.amount[cells],
        materials=needs.materials,
    )
    found = replaced_at_once(part, offers)
    cost, unpriced = before.cost.copy(), before.unpriced.copy()
    cost[cells], unpriced[cells] = found.cost, found.unpriced
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
        self.several = any(len({offer.supplier.id for offer in some}) < len(some) for some in rows)
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
    group = needs.recipe[catalog.cell] * many + catalog.supplier
    counted = goods
    if catalog.several:
        of_cell = catalog.cell * many + catalog.supplier
        order = np.lexsort((goods, of_cell))
        keys = of_cell[order]
        counted = np.zeros_like(goods)
        first = order[np.concatenate(([True], keys[1:] != keys[:-1]))]
        counted[first] = goods[first]
    orders = (len(needs.starts) - 1) * many
    worth = _added(group, counted, orders)
    freight = catalog.freights(np.arange(orders) % many, worth)
    return worth[group], freight[group]


def _added(group: Column, values: Column, groups: int) -> Column:
    """The sum of the values of each group, exact."""
    if values.astype(np.float64).sum() < EXACT_IN_FLOAT:
        return np.bincount(group, values, minlength=groups).astype(np.int64)
    result = np.zeros(groups, dtype=np.int64)
    np.add.at(result, group, values)
    return result


def _freight(
    needs: Needs, catalog: _Catalog, taken: Column, worth: Column, unpriced: Mask
) -> Column:
    """Each cell's part of the freight of its order: by worth, largest remainder."""
    freight = np.zeros(len(worth), dtype=np.int64)
    cells = np.nonzero(~unpriced)[0]
    if not cells.size:
        return freight
    many = len(catalog.suppliers)
    orders = (len(needs.starts) - 1) * many
    group = needs.recipe[cells] * many + catalog.supplier[taken[cells]]
    goods = _added(group, worth[cells], orders)
    charge = catalog.freights(np.arange(orders) % many, goods)
    lines = np.bincount(group, minlength=orders)
    free = goods[group] == 0
    weights = np.where(free, 1, worth[cells])
    whole = np.where(free, lines[group], goods[group])
    part, rest = divided_down(weights, charge[group], whole)
    left = charge - _added(group, part, orders)
    some = np.nonzero((left[group] > 0) & (charge[group] > 0))[0]
    # Largest remainder first, ties in the order of the needs: both sorts are stable.
    by_rest = some[np.argsort(-rest[some], kind="stable")]
    ranked = by_rest[np.argsort(_small(group[by_rest], orders), kind="stable")]
    starts = np.concatenate(([0], np.cumsum(np.bincount(group[ranked], minlength=orders))))
    rank = np.arange(len(ranked)) - starts[group[ranked]]
    part[ranked] += rank < left[group[ranked]]
    freight[cells] = part
    return freight


def _small(group: Column, groups: int) -> NDArray[np.integer]:
    """Numbers of groups in as few bits as hold them: short ones are sorted much faster."""
    return group.astype(np.uint16) if groups <= 2**16 else group


def _buy_plainly(
    needs: Needs, recipe: int, offers: Mapping[int, Sequence[OfferTerms]], cost: Column
) -> None:
    begin, end = int(needs.starts[recipe]), int(needs.starts[recipe + 1])
    ids = [needs.materials[place] for place in needs.material[begin:end]]
    wanted = dict(zip(ids, (int(each) for each in needs.amount[begin:end]), strict=True))
    lines = purchases_for(wanted, offers).lines
    for place, pk in enumerate(ids, begin):
        cost[place] = lines[pk].cost if pk in lines else 0
