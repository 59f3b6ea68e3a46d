"""What every recipe's bar would cost under other conditions: one question for all recipes.

Everything is read once, with a number of queries that does not grow with the recipes; nothing is
stored. Recipes are those of the active products, each in its product's mold, or all active recipes
in the molds that are stated. Each is costed by the one function that costs a product's bar
(`costing.domain.bar_cost.recipe_cost`), as things are and with each change; a change of superfat or
lye concentration scales the recipes that it is meant for anew.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING

from costing.domain.bar_cost.recipe_cost import PACKING_NOT_SAID, Sized
from costing.domain.what_if.changes import (
    Change,
    GoodShare,
    LyeSetting,
    good_share,
    lye_settings,
    prices_after,
)
from costing.domain.what_if.effects import Outcome, Scenario, outcome
from costing.errors import WhatIfRefusal
from costing.queries.bar_cost.kept_plans import Plans, Wanted
from costing.queries.bar_cost.not_known import NotKnown
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.replacement import paid_days, paid_note
from costing.queries.rates.rates import missing_rates_note
from costing.queries.what_if.named import Named, named_changes
from costing.queries.what_if.reading import (
    Day,
    NotMade,
    Planned,
    asked_recipes,
    planned,
    read_day,
    sized_on,
)
from studio.foundation.errors import Refusal

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked: the changes as they are written, on which prices, as of which day.

    `formulas` leaves out all others (codes); `molds` are those to ask about in place of those of
    the products.
    """

    changes: Sequence[Named]
    on: date
    basis: PriceBasis = PriceBasis.REPLACEMENT
    formulas: Collection[str] = ()
    molds: Collection[str] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The outcome by recipe, in the order of `recipes`.

    `base` and `together` are what was priced; `refused` says why a recipe cannot be made as a
    change of its lye has it; `not_made` cannot be costed at all. `lacking` is what was read of
    lots whose cost is not known.
    """

    question: Question
    recipes: tuple[Planned, ...]
    base: Scenario
    together: Scenario
    outcome: Outcome
    materials: Mapping[int, "Material"]
    lacking: NotKnown
    not_made: tuple[NotMade, ...]
    refused: Mapping[int, str]
    notes: tuple[str, ...]


def what_if(question: Question) -> Answer:
    """The effect of changes on the bar of every recipe. Stores nothing.

    A fixed number of queries for any number of recipes, lines and changes; two more for each level
    of blends that are made here. Raises WhatIfRefusal, CostNotKnown.
    """
    buy = question.basis.look_up.buy
    if buy is None:
        raise WhatIfRefusal(
            "The lots that would be picked are what they cost: ask about replacement or the moving"
            " average.",
            field="basis",
        )
    asked = asked_recipes(formulas=question.formulas, molds=question.molds)
    plans = Plans({each.formula.pk for each in asked})
    recipes, not_made = planned(asked, plans)
    if not recipes:
        reasons = " ".join(each.reason for each in not_made[:3])
        raise WhatIfRefusal(f"None of these recipes can be costed. {reasons}", field="formulas")
    day = read_day(recipes, plans, on=question.on, basis=question.basis)
    changes, notes = named_changes(question.changes, recipes, day)
    scenes = _Scenes(recipes, day, plans)
    alone = [scenes.of((change,)) for change in changes]
    together = alone[0] if len(alone) == 1 else scenes.of(changes)
    found = outcome(scenes.base, alone, together, buy=buy)
    return Answer(
        question=question,
        recipes=tuple(recipes),
        base=scenes.base,
        together=together,
        outcome=found,
        materials=day.production.materials,
        lacking=day.lacking,
        not_made=tuple(not_made),
        refused=scenes.refused,
        notes=(*_notes(found, day), *notes),
    )


def _notes(found: Outcome, day: Day) -> list[str]:
    """What nobody knows, and what stands in for it."""
    missed = dict.fromkeys(kind for cost in found.base for kind in cost.missed)
    paid = paid_days(sorted(day.used), day.prices.offers) if day.basis.look_up.from_offers else {}
    named = {day.names[pk]: on for pk, on in paid.items() if pk in day.names}
    untold = any(cost.untold for cost in found.base)
    unsaid = any(cost.lacks(PACKING_NOT_SAID) for cost in found.base)
    notes = (
        missing_rates_note(missed, on=day.on, untold=untold),
        SOME_NOT_SAID if unsaid else "",
        paid_note(named, on=day.on),
    )
    return [note for note in notes if note]


#: Of products without a packaging set, some of which may need none.
SOME_NOT_SAID = (
    "Nobody said how some of these are packed, so what such a bar costs is at least what is shown."
)


class _Scenes:
    """The scenarios of a question, with the recipes scaled anew where a change asks for it."""

    def __init__(self, recipes: Sequence[Planned], day: Day, plans: Plans) -> None:
        self.recipes, self.day, self.plans = recipes, day, plans
        sizes = [sized_on(day, each.recipe, each.outline) for each in recipes]
        self.base = Scenario(recipes=sizes, prices=day.prices)
        self.refused: dict[int, str] = {}

    def of(self, changes: Sequence[Change]) -> Scenario:
        """The scenario of some of the changes."""
        sizes, refused = self._sizes(changes)
        self.refused.update(refused)
        shares: tuple[Fraction, ...] = ()
        if any(isinstance(change, GoodShare) for change in changes):
            shares = tuple(good_share(changes, each.recipe.formula.pk) for each in self.recipes)
        return Scenario(
            recipes=sizes,
            prices=prices_after(self.day.prices, changes),
            shares=shares,
            refused=frozenset(refused),
        )

    def _sizes(self, changes: Sequence[Change]) -> tuple[Sequence[Sized], dict[int, str]]:
        """The recipes as the changes have their lye, and by place why one cannot be made so."""
        if not any(isinstance(change, LyeSetting) for change in changes):
            return self.base.recipes, {}
        wanted = {
            place: Wanted(
                formula=each.recipe.formula.pk,
                mold=each.recipe.mold,
                settings=tuple(sorted(settings.items())),
            )
            for place, each in enumerate(self.recipes)
            if (settings := lye_settings(changes, each.recipe.formula.pk))
        }
        sizes, refused = list(self.base.recipes), dict[int, str]()
        for place, outline in zip(wanted, self.plans.of(list(wanted.values())), strict=True):
            try:
                if isinstance(outline, Refusal):
                    raise outline
                sizes[place] = sized_on(self.day, self.recipes[place].recipe, outline)
            except Refusal as refusal:
                refused[place] = str(refusal)
        return sizes, refused
