"""What every recipe's bar would cost if prices, rates, yields or lye were others.

One table holds what all recipes need, as columns of whole numbers; a scenario prices the table, and
an effect says how far a bar moves by each change alone and by all of them together. The figures
are those of the ordinary cost of a plan, to the last unit: the same rules over columns. Money is
ten-thousandths; amounts ng or pieces.

With a yield below 1 the good bars bear all that was poured, labor and overhead; what only packs
bars is taken for the good ones alone. The yield is one of the long run: 0.95 of 16 bars are 15.2.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from costing.domain.blend_making import Making
from costing.domain.conversion import RATED_BY, SECONDS_PER_HOUR, Effort, Work
from costing.domain.exact_division import SAFE, Column, added_up, divided, summed, times
from costing.domain.packing import Packing
from costing.domain.pricing import PriceBasis
from costing.domain.rates import Rates, Task
from costing.domain.replacement import purchases_for
from costing.domain.what_if_changes import Prices
from costing.domain.what_if_needs import Bought, Mask, Needs, averaged, needs_of
from costing.domain.what_if_purchases import replaced_again, replaced_at_once
from costing.errors import CostNotKnown

TOO_LARGE = "That costs more than can be kept; ask about fewer changes, or smaller ones."


@dataclass(frozen=True, slots=True, kw_only=True)
class Sized:
    """A recipe at its size: what it needs by material id (blends taken apart where they are made
    for it), the materials among them that only pack its bars, its work, blends and bars."""

    needs: Mapping[int, int]
    bars: int
    work: Work
    packed: frozenset[int] = frozenset()
    makings: Sequence[Making] = ()
    packing: Packing | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Recipes as columns. `work` and `made` have a row an effort, and a column a recipe, blend."""

    needs: Needs
    packed: Mask
    bars: Column
    work: Column
    made: Column
    made_for: Column
    packings: tuple[tuple[Packing, int], ...]
    packing_of: Column


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """One scenario: by cell what was bought, by recipe the rest, and a bar (`known` where right).

    `total` is the batch without what packs the product; `per_bar` has that in it.
    """

    bought: Bought
    making: Column
    labor: Column
    overhead: Column
    total: Column
    per_bar: Column
    known: Mask


def table_of(recipes: Sequence[Sized]) -> Table:
    """The table of recipes, in their order. Each of them makes bars."""
    needs = needs_of(recipe.needs for recipe in recipes)
    packs = np.zeros(len(needs.amount), dtype=np.bool_)
    for place, recipe in enumerate(recipes):
        if recipe.packed:
            cells = range(int(needs.starts[place]), int(needs.starts[place + 1]))
            for cell in cells:
                packs[cell] = needs.materials[needs.material[cell]] in recipe.packed
    keys = [None if recipe.packing is None else (recipe.packing, recipe.bars) for recipe in recipes]
    packings = tuple(dict.fromkeys(key for key in keys if key is not None))
    place_of = {key: place for place, key in enumerate(packings)}
    makings = [(place, made) for place, recipe in enumerate(recipes) for made in recipe.makings]
    return Table(
        needs=needs,
        packed=packs,
        bars=np.array([recipe.bars for recipe in recipes], dtype=np.int64),
        work=_work(recipe.work for recipe in recipes),
        made=np.vstack(
            (
                _work(made.work for _, made in makings),
                np.array([made.wanted for _, made in makings], dtype=np.int64),
                np.array([made.output for _, made in makings], dtype=np.int64),
            )
        ),
        made_for=np.array([place for place, _ in makings], dtype=np.int64),
        packings=packings,
        packing_of=np.array([-1 if key is None else place_of[key] for key in keys], dtype=np.int64),
    )


def bought_for(
    table: Table,
    prices: Prices,
    basis: PriceBasis,
    *,
    before: tuple[Prices, Bought] | None = None,
) -> Bought:
    """What each cell costs; `before` is what it cost at other prices, where that is known.

    Raises CostNotKnown for what does not fit into 64 bits.
    """
    try:
        if basis is PriceBasis.MOVING_AVERAGE:
            return averaged(table.needs, prices.averages)
        if before is None:
            return replaced_at_once(table.needs, prices.offers)
        old, bought = before
        return replaced_again(table.needs, prices.offers, before=bought, old=old.offers)
    except OverflowError:
        raise CostNotKnown(TOO_LARGE) from None


def costs_of(
    table: Table, prices: Prices, bought: Bought, shares: Sequence[Fraction] | None = None
) -> Costs:
    """The cost of every recipe with what was bought; `shares` are the bars that turn out good.

    Raises CostNotKnown for what does not fit into 64 bits.
    """
    try:
        return _costs_of(table, prices, bought, shares or ())
    except OverflowError:
        raise CostNotKnown(TOO_LARGE) from None


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


def _costs_of(table: Table, prices: Prices, bought: Bought, shares: Sequence[Fraction]) -> Costs:
    starts = table.needs.starts
    labor, overhead = _conversion(table.work, prices.rates)
    making = _making(table, prices.rates)
    total = added_up((summed(bought.cost, starts), making, labor, overhead))
    packs = summed(np.where(table.packed, bought.cost, 0), starts)
    known = summed(bought.unpriced.astype(np.int64), starts) == 0
    packing = [packing_cost(each, bars, prices) for each, bars in table.packings]
    known &= ~np.isin(table.packing_of, [at for at, cost in enumerate(packing) if cost is None])
    return Costs(
        bought=bought,
        making=making,
        labor=labor,
        overhead=overhead,
        total=total,
        per_bar=_per_bar(table, total, packs, [cost or Fraction(0) for cost in packing], shares),
        known=known,
    )


def _per_bar(
    table: Table,
    total: Column,
    packs: Column,
    packing: Sequence[Fraction],
    shares: Sequence[Fraction],
) -> Column:
    """(total - packs) / (bars x share) + packs / bars + packing, over one divisor, rounded once."""
    # The last place is of those without: -1.
    added = (*packing, Fraction(0))
    extra = np.array([cost.numerator for cost in added], dtype=np.int64)[table.packing_of]
    extra_in = np.array([cost.denominator for cost in added], dtype=np.int64)[table.packing_of]
    good = np.array([each.numerator for each in shares] or [1], dtype=np.int64)
    good_of = np.array([each.denominator for each in shares] or [1], dtype=np.int64)
    below = times(table.bars * good, extra_in)
    largest = (
        total.astype(np.float64) * good_of + packs.astype(np.float64) * good
    ) * extra_in + extra.astype(np.float64) * table.bars * good
    above = ((total - packs) * good_of + packs * good) * extra_in + extra * table.bars * good
    result = divided(np.where(largest < SAFE, above, 0), 1, below)
    for place in np.nonzero(largest >= SAFE)[0].tolist():
        share = shares[place] if shares else Fraction(1)
        bars, whole, pack = int(table.bars[place]), int(total[place]), int(packs[place])
        result[place] = round(
            (whole - pack) / (bars * share)
            + Fraction(pack, bars)
            + added[int(table.packing_of[place])]
        )
    return result


def _work(every: Iterable[Work]) -> Column:
    rows = [(w.mix, w.cut, w.wrap, w.other, w.rack_days, w.energy_wh) for w in every]
    return np.array(rows, dtype=np.int64).reshape(len(rows), 6).T


def _conversion(work: Column, rates: Rates) -> tuple[Column, Column]:
    """Labor, and all overhead, of each column of work: as `conversion_of` rounds them."""
    mix, cut, wrap, other, rack_days, energy = work
    by_task = [rates.labor_for(task) for task in (Task.MIX, Task.CUT, Task.WRAP)]
    seconds = mix + cut + wrap + other
    paid = sum(
        (
            times(part, np.full_like(part, rate))
            for part, rate in zip(
                (mix, cut, wrap, other), (*by_task, rates.labor_per_hour), strict=True
            )
        ),
        np.zeros_like(mix),
    )
    overhead = (
        rates.overhead_per_batch
        + divided(seconds, rates.overhead_per_labor_hour, RATED_BY[Effort.LABOR_HOUR])
        + divided(rack_days, rates.rack_per_week, RATED_BY[Effort.RACK])
        + divided(energy, rates.energy_per_kwh, RATED_BY[Effort.ENERGY])
    )
    return divided(paid, 1, SECONDS_PER_HOUR), overhead


def _making(table: Table, rates: Rates) -> Column:
    """What making its blends costs each recipe."""
    result = np.zeros(len(table.bars), dtype=np.int64)
    if table.made_for.size:
        labor, overhead = _conversion(table.made[:6], rates)
        wanted, output = table.made[6:]
        np.add.at(result, table.made_for, divided(labor + overhead, wanted, output))
    return result
