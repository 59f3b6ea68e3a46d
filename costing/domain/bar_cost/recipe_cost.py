"""What a batch of a recipe and its bar cost at the prices of a day: one function for all who ask.

Money is ten-thousandths; amounts ng or pieces. With a yield below 1 the good bars bear all that was
poured, labor and overhead; what only packs bars is taken for the good ones alone. The yield is one
of the long run: 0.95 of 16 bars are 15.2.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from costing.domain.bar_cost.conversion import Making, Work, conversion_of
from costing.domain.bar_cost.packing import Packing
from costing.domain.bar_cost.replacement import OfferTerms, purchases_for
from costing.domain.rates.rates import Rates
from costing.errors import CostNotKnown
from inventory.domain.stock.lots import MovingAverage
from studio.foundation.money import MAX_MONEY

TOO_LARGE = "That costs more than can be kept; ask about less, or about smaller changes."


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """What holds on a day: offers and averages by material id, and rates."""

    offers: Mapping[int, Sequence[OfferTerms]]
    averages: Mapping[int, MovingAverage]
    rates: Rates


@dataclass(frozen=True, slots=True, kw_only=True)
class Sized:
    """A recipe at its size: what it needs by material id (blends taken apart where they are made
    for it), the materials among them that only pack its bars, its blends and bars.

    These are of all `batches` that are made at once; `work` is that of one.
    """

    needs: Mapping[int, int]
    bars: int
    work: Work
    batches: int = 1
    packed: frozenset[int] = frozenset()
    makings: Sequence[Making] = ()
    packing: Packing | None = None

    @property
    def materials(self) -> set[int]:
        """All whose prices it rests on."""
        pieces = self.packing.pieces if self.packing else ()
        return {*self.needs, *(piece.material for piece in pieces)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Bought:
    """What needs cost, by material id, and the materials that have no price."""

    costs: Mapping[int, int]
    missing: tuple[int, ...] = ()


#: Needs by material id at the prices of a day: how a price basis values what is needed.
Buy = Callable[[Mapping[int, int], Prices], Bought]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeCost:
    """The cost of the batches and of a bar, None where a price is missing.

    `total` is that without what packs the product; `per_bar` has that in it (`packing`, for
    one bar).
    """

    bought: Bought
    making: int
    labor: int
    overhead: int
    packing: Fraction | None
    per_bar: int | None

    @property
    def total(self) -> int:
        """Materials, making of blends, labor and overhead."""
        return sum(self.bought.costs.values()) + self.making + self.labor + self.overhead


def replaced_at_offers(needs: Mapping[int, int], prices: Prices) -> Bought:
    """Needs bought together at the offers, as `costing.domain.bar_cost.replacement` says."""
    found = purchases_for(needs, prices.offers)
    return Bought(costs={pk: line.cost for pk, line in found.lines.items()}, missing=found.missing)


def taken_at_average(needs: Mapping[int, int], prices: Prices) -> Bought:
    """Needs at the average of what is held (IAS 2 paragraph 25)."""
    held = {pk: average for pk, average in prices.averages.items() if average.quantity}
    return Bought(
        costs={pk: held[pk].cost_of(need) for pk, need in needs.items() if pk in held},
        missing=tuple(pk for pk, need in needs.items() if need and pk not in held),
    )


def cost_of_recipe(
    recipe: Sized,
    prices: Prices,
    buy: Buy,
    *,
    good: Fraction = Fraction(1),
    before: RecipeCost | None = None,
) -> RecipeCost:
    """The cost of a recipe's batch, and of a bar where the share `good` of them turns out so.

    `before` is its cost at prices that differ in nothing but rates and yield: what it bought is
    not bought again. Raises CostNotKnown for what is more than can be kept.
    """
    bought = before.bought if before else buy(recipe.needs, prices)
    packing = before.packing if before else _packing(recipe, prices)
    conversion = conversion_of(recipe.work, prices.rates)
    making = sum(made.cost(prices.rates) for made in recipe.makings)
    labor, overhead = (cost * recipe.batches for cost in (conversion.labor, conversion.overhead))
    total = sum(bought.costs.values()) + making + labor + overhead
    per_bar = None
    if packing is not None and not bought.missing:
        packs = sum(bought.costs.get(pk, 0) for pk in recipe.packed)
        batch = Fraction(total - packs, recipe.bars) / good
        per_bar = round(batch + Fraction(packs, recipe.bars) + packing)
    if max(total, per_bar or 0) > MAX_MONEY:
        raise CostNotKnown(TOO_LARGE)
    return RecipeCost(
        bought=bought,
        making=making,
        labor=labor,
        overhead=overhead,
        packing=packing,
        per_bar=per_bar,
    )


def packing_cost(packing: Packing, bars: int, prices: Prices) -> Fraction | None:
    """Packing of one of so many bars at the offers; what nobody offers at the average that is held.

    None where a piece is neither offered nor held.
    """
    bought = purchases_for(packing.needs(bars), prices.offers)
    each = {pk: Fraction(line.cost, line.need) for pk, line in bought.lines.items()}
    for pk in bought.missing:
        held = prices.averages.get(pk)
        if held is None or not held.quantity:
            return None
        each[pk] = held.per_unit
    return sum(
        (
            each[piece.material]
            * Fraction(piece.pieces, packing.bars_per_carton if piece.per_carton else 1)
            for piece in packing.pieces
        ),
        Fraction(0),
    )


def _packing(recipe: Sized, prices: Prices) -> Fraction | None:
    """What packs one bar of the product; nothing where it is sold without."""
    if recipe.packing is None:
        return Fraction(0)
    return packing_cost(recipe.packing, recipe.bars, prices)
