"""What many recipes need, as columns: a cell for each recipe and material, and what it costs."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from costing.domain.exact_division import Column, divided
from inventory.domain.lots import MovingAverage

Mask = NDArray[np.bool_]


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
