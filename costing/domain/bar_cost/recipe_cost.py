"""What a batch of a recipe and its bar cost at the prices of a day: one function for all who ask.

Money is ten-thousandths; amounts ng or pieces. With a yield below 1 the good bars bear all that was
poured, labor and overhead; what only packs bars is taken for the good ones alone. The yield is one
of the long run: 0.95 of 16 bars are 15.2. What has no price or rate is not known, and never zero.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from costing.domain.bar_cost.conversion import (
    ConversionCost,
    ConversionLine,
    Making,
    Work,
    conversion_of,
)
from costing.domain.bar_cost.packing import Packing
from costing.domain.bar_cost.replacement import OfferTerms, purchases_for
from costing.domain.rates.rates import RateKind, Rates
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

    These are of all `batches` that are made at once; `work` is that of one. Unless `packing_said`
    nobody said what packs its bars; without packing they are sold as they are, otherwise.
    """

    needs: Mapping[int, int]
    bars: int
    work: Work
    batches: int = 1
    packed: frozenset[int] = frozenset()
    makings: Sequence[Making] = ()
    packing: Packing | None = None
    packing_said: bool = True

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


class Unknown(NamedTuple):
    """What one bar takes of something whose cost is not known: a material by id, an effort by name.

    Of an effort whose time nobody told it is the part of a batch, at a `rate`, of the recipe or of
    the making of a blend (`of_blend`, its need). Where two costs lack the very same work at the
    same rate, their difference is known all the same.
    """

    of: int | str
    per_bar: Fraction
    untold: bool = False
    rate: int | None = None
    of_blend: int | None = None


#: In place of a material: that what packs the product has no price; that nobody said what does.
PACKING = "packing"
PACKING_NOT_SAID = "packing not said"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeCost:
    """The cost of the batches and of a bar, None where some of it is not known.

    `making`, `labor`, `overhead` and `at_least` are what is known: of the batches, and of a bar
    with what packs the product (`packing`, for one bar). `unknown` is what a bar lacks, `missed`
    the rates that it waits for.
    """

    bought: Bought
    making: int
    labor: int
    overhead: int
    packing: Fraction | None
    at_least: int
    unknown: frozenset[Unknown] = frozenset()
    missed: tuple[RateKind, ...] = ()

    @property
    def known_total(self) -> int:
        """What is known of materials, making of blends, labor and overhead."""
        return sum(self.bought.costs.values()) + self.making + self.labor + self.overhead

    def lacks(self, *names: str) -> bool:
        """Whether some of this is not known: efforts by their names, or packing."""
        return any(each.of in names for each in self.unknown)

    @property
    def untold(self) -> bool:
        """Whether it waits for minutes that nobody told."""
        return any(each.untold for each in self.unknown)

    @property
    def lacks_only_rates(self) -> bool:
        """Whether all prices are known."""
        return not self.lacks(PACKING) and not self.bought.missing

    @property
    def per_bar(self) -> int | None:
        """What a bar costs, packed."""
        return None if self.unknown else self.at_least


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
    makings = [(blend, conversion_of(blend.work, prices.rates)) for blend in recipe.makings]
    making = sum(blend.part(cost) for blend, cost in makings)
    made = [(None, conversion), *makings]
    labor, overhead = (cost * recipe.batches for cost in (conversion.labor, conversion.overhead))
    total = sum(bought.costs.values()) + making + labor + overhead
    packs = sum(bought.costs.get(pk, 0) for pk in recipe.packed)
    batch = Fraction(total - packs, recipe.bars) / good
    at_least = round(batch + Fraction(packs, recipe.bars) + (packing or 0))
    if max(total, at_least) > MAX_MONEY:
        raise CostNotKnown(TOO_LARGE)
    return RecipeCost(
        bought=bought,
        making=making,
        labor=labor,
        overhead=overhead,
        packing=packing,
        at_least=at_least,
        unknown=frozenset(_unknown(recipe, bought, packing, made, good)),
        missed=tuple(dict.fromkeys(kind for _, cost in made for kind in cost.missed)),
    )


def _unknown(
    recipe: Sized,
    bought: Bought,
    packing: Fraction | None,
    made: Sequence[tuple[Making | None, ConversionCost]],
    good: Fraction,
) -> Iterator[Unknown]:
    """What a good bar takes of all that has no price or rate."""
    if packing is None:
        yield Unknown(PACKING if recipe.packing_said else PACKING_NOT_SAID, Fraction(1))
    for pk in bought.missing:
        each = Fraction(recipe.needs.get(pk, 0), recipe.bars)
        yield Unknown(pk, each if pk in recipe.packed else each / good)
    efforts: dict[Unknown, Fraction] = {}
    for blend, cost in made:
        part = Fraction(blend.wanted, blend.output) if blend else Fraction(recipe.batches)
        for line in cost.lines:
            if line.cost is None:
                lacked = _lacked(line, blend)
                taken = Fraction(1 if line.quantity is None else line.quantity) * part
                efforts[lacked] = efforts.get(lacked, Fraction(0)) + taken / recipe.bars / good
    for lacked, taken in efforts.items():
        yield lacked._replace(per_bar=taken)


def _lacked(line: ConversionLine, blend: Making | None) -> Unknown:
    """Of what an effort is that is not known: of one without a rate only how much matters."""
    if line.quantity is not None:
        return Unknown(line.effort.value, Fraction(0))
    return Unknown(
        line.effort.value,
        Fraction(0),
        untold=True,
        rate=line.rate,
        of_blend=None if blend is None else blend.need,
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
    """What packs one bar of the product; nothing where it is sold without, None if not known."""
    if not recipe.packing_said:
        return None
    if recipe.packing is None:
        return Fraction(0)
    return packing_cost(recipe.packing, recipe.bars, prices)
