"""How the cost of a recipe's bars goes up and down from batch to batch."""

from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from itertools import groupby

from costing.domain.bar_cost.spread import Spread, spread_of
from inventory.queries.stock.made_cost import cost_put_on
from recipes.queries.bench.made import last_made
from recipes.queries.formulas.formulas import formula_by_code


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeCost:
    """A cured batch, what its good bars cost in all by the books, and each of them (rounded)."""

    batch: str
    version: int
    poured_on: date
    bars: int
    cost: int
    per_bar: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldSpread:
    """The last batches of a recipe in one mold (None: scaled to no mold), and their spread."""

    mold: str | None
    mold_name: str
    spread: Spread
    batches: tuple[MadeCost, ...]


def cost_spread(formula: str, *, last: int) -> list[MoldSpread]:
    """The spread of the cost of a bar over the last batches of a recipe, mold by mold.

    Three queries, however many batches. Raises NotFound for an unknown recipe.
    """
    formula_by_code(formula)
    batches = last_made(formula, last=last)
    costs = cost_put_on(batch.bar_lot_id for batch in batches if batch.bar_lot_id)
    found: list[MoldSpread] = []
    for mold, rows in groupby(batches, key=lambda batch: batch.mold):
        made = tuple(
            MadeCost(
                batch=batch.code,
                version=batch.version.number,
                poured_on=batch.poured_on,
                bars=batch.bars_good,
                cost=costs.get(batch.bar_lot_id, 0),
                per_bar=round(Fraction(costs.get(batch.bar_lot_id, 0), batch.bars_good)),
            )
            for batch in rows
            if batch.poured_on and batch.bars_good and batch.bar_lot_id
        )
        spread = spread_of([each.per_bar for each in made])
        if spread is not None:
            found.append(
                MoldSpread(
                    mold=mold.code if mold else None,
                    mold_name=mold.name if mold else "",
                    spread=spread,
                    batches=made,
                )
            )
    return found
