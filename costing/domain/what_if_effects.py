"""How far the cost of a bar moves by each change alone, by all together, and what is between them.

Two changes at once need not cost what both cost alone: a dearer oil matters more where the superfat
asks for more of it. What the changes do together beyond their sum is the interaction.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from costing.domain.pricing import PriceBasis, as_share
from costing.domain.what_if import Costs, Table, bought_for, costs_of
from costing.domain.what_if_changes import Prices
from costing.domain.what_if_needs import Bought


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """The table priced in one way; `shares` of good bars by recipe (all good where empty).

    `refused` are places of recipes that cannot be made as the scenario has it.
    """

    table: Table
    prices: Prices
    shares: Sequence[Fraction] = ()
    refused: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What the changes do to one recipe's bar; None where a price is missing.

    `place` is the recipe's in the table. `alone` are differences from `base` by each change, and
    `interaction` what all together do beyond their sum: base + alone + interaction = changed.
    """

    place: int
    base: int | None
    changed: int | None
    alone: tuple[int | None, ...]
    interaction: int | None

    @property
    def difference(self) -> int | None:
        """By how much a bar becomes dearer."""
        return None if self.base is None or self.changed is None else self.changed - self.base

    @property
    def share(self) -> Decimal | None:
        """The difference as a share of what the bar costs now."""
        if self.difference is None or not self.base:
            return None
        return as_share(Fraction(self.difference, self.base))


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """The costs as they are, with each change alone, and with all of them."""

    base: Costs
    alone: tuple[Costs, ...]
    together: Costs
    effects: tuple[Effect, ...]


def outcome(
    base: Scenario, alone: Sequence[Scenario], together: Scenario, *, basis: PriceBasis
) -> Outcome:
    """The effects on every recipe, in the order of the table. Raises CostNotKnown."""
    costs = _costed((base, *alone, together), basis)
    rows = [
        _bars(found, each.refused)
        for found, each in zip(costs, (base, *alone, together), strict=True)
    ]
    return Outcome(
        base=costs[0],
        alone=tuple(costs[1:-1]),
        together=costs[-1],
        effects=tuple(
            _effect(place, figures) for place, figures in enumerate(zip(*rows, strict=True))
        ),
    )


def largest_first(effects: Iterable[Effect]) -> list[Effect]:
    """Effects by how far a bar moves, up or down; what is not known comes last."""
    return sorted(
        effects,
        key=lambda each: (each.difference is None, -abs(each.difference or 0), each.place),
    )


def _costed(scenarios: Sequence[Scenario], basis: PriceBasis) -> list[Costs]:
    """The costs of scenarios; what one has in common with another is bought once."""
    bought: dict[tuple[int, int, int], Bought] = {}
    first: dict[int, tuple[Prices, Bought]] = {}
    found: list[Costs] = []
    for each in scenarios:
        key = (id(each.table), id(each.prices.offers), id(each.prices.averages))
        if key not in bought:
            before = first.get(id(each.table))
            bought[key] = bought_for(each.table, each.prices, basis, before=before)
            first.setdefault(id(each.table), (each.prices, bought[key]))
        found.append(costs_of(each.table, each.prices, bought[key], each.shares))
    return found


def _bars(costs: Costs, refused: frozenset[int]) -> list[int | None]:
    return [
        cost if known and place not in refused else None
        for place, (cost, known) in enumerate(
            zip(costs.per_bar.tolist(), costs.known.tolist(), strict=True)
        )
    ]


def _effect(place: int, figures: tuple[int | None, ...]) -> Effect:
    base, *alone, changed = figures
    moved = tuple(None if base is None or each is None else each - base for each in alone)
    known = [each for each in moved if each is not None]
    interaction = None
    if base is not None and changed is not None and len(known) == len(moved):
        interaction = changed - base - sum(known)
    return Effect(place=place, base=base, changed=changed, alone=moved, interaction=interaction)
