"""How far the cost of a bar moves by each change alone, by all together, and what is between them.

Two changes at once need not cost what both cost alone: a dearer oil matters more where the superfat
asks for more of it. What the changes do together beyond their sum is the interaction.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from costing.domain.bar_cost.recipe_cost import Buy, Prices, RecipeCost, Sized, cost_of_recipe
from costing.domain.prices.pricing import as_share


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """Recipes priced in one way; `shares` of good bars by recipe (all good where empty).

    `refused` are places of recipes that cannot be made as the scenario has it.
    """

    recipes: Sequence[Sized]
    prices: Prices
    shares: Sequence[Fraction] = ()
    refused: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What the changes do to one recipe's bar; None where a price or rate is missing.

    `place` is the recipe's in the scenario. `difference` is by how much a bar becomes dearer: it is
    known also where both costs lack the rates of the very same work. `alone` are the differences by
    each change, and `interaction` what all together do beyond their sum: alone + interaction =
    difference.
    `base_at_least` and `changed_at_least` are what is known of both costs.
    """

    place: int
    base: int | None
    changed: int | None
    difference: int | None
    alone: tuple[int | None, ...]
    interaction: int | None
    base_at_least: int | None = None
    changed_at_least: int | None = None

    @property
    def share(self) -> Decimal | None:
        """The difference as a share of what the bar costs now; None where that is not known."""
        if self.difference is None or not self.base:
            return None
        return as_share(Fraction(self.difference, self.base))


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """The costs by recipe as they are and with all changes, and what each change does."""

    base: tuple[RecipeCost, ...]
    together: tuple[RecipeCost, ...]
    effects: tuple[Effect, ...]


def outcome(base: Scenario, alone: Sequence[Scenario], together: Scenario, *, buy: Buy) -> Outcome:
    """The effects on every recipe, in their order. Raises CostNotKnown."""
    costs = costs_of(base, buy)
    each_alone = [costs_of(scenario, buy, base=base, costs=costs) for scenario in alone]
    changed = (
        each_alone[0]
        if list(alone) == [together]
        else costs_of(together, buy, base=base, costs=costs)
    )
    rows = [
        _bars(found, scenario.refused)
        for found, scenario in zip(
            (costs, *each_alone, changed), (base, *alone, together), strict=True
        )
    ]
    return Outcome(
        base=costs,
        together=changed,
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


def costs_of(
    scenario: Scenario,
    buy: Buy,
    *,
    base: Scenario | None = None,
    costs: Sequence[RecipeCost] = (),
) -> tuple[RecipeCost, ...]:
    """The cost of every recipe; `costs` are those of `base`, where they are known.

    What a recipe buys there is not bought again where it is the same recipe and none of its
    materials has another price. Freight joins all that a recipe needs, so it buys all of it anew.
    """
    moved = _moved(scenario.prices, base.prices) if base else set()
    found: list[RecipeCost] = []
    for place, recipe in enumerate(scenario.recipes):
        is_same = base and recipe is base.recipes[place] and moved.isdisjoint(recipe.materials)
        found.append(
            cost_of_recipe(
                recipe,
                scenario.prices,
                buy,
                good=scenario.shares[place] if scenario.shares else Fraction(1),
                before=costs[place] if is_same else None,
            )
        )
    return tuple(found)


def _moved(prices: Prices, base: Prices) -> set[int]:
    """The materials whose offers or average are others."""
    return {
        pk
        for now, then in ((base.offers, prices.offers), (base.averages, prices.averages))
        for pk in now.keys() | then.keys()
        if now.get(pk) != then.get(pk)
    }


def _bars(costs: Iterable[RecipeCost], refused: frozenset[int]) -> list[RecipeCost | None]:
    return [None if place in refused else cost for place, cost in enumerate(costs)]


def _effect(place: int, figures: tuple[RecipeCost | None, ...]) -> Effect:
    base, *each_alone, changed = figures
    alone = tuple(_difference(base, each) for each in each_alone)
    difference = _difference(base, changed)
    known = [each for each in alone if each is not None]
    interaction = None
    if difference is not None and len(known) == len(alone):
        interaction = difference - sum(known)
    return Effect(
        place=place,
        base=None if base is None else base.per_bar,
        changed=None if changed is None else changed.per_bar,
        difference=difference,
        alone=alone,
        interaction=interaction,
        base_at_least=None if base is None else base.at_least,
        changed_at_least=None if changed is None else changed.at_least,
    )


def _difference(base: RecipeCost | None, other: RecipeCost | None) -> int | None:
    """By how much a bar is dearer; work without a rate cancels where it is the same.

    A material without a price does not: its freight would move with what else is bought.
    """
    if base is None or other is None or base.unknown != other.unknown:
        return None
    if not base.lacks_only_rates:
        return None
    return other.at_least - base.at_least
