"""What every recipe's bar would cost under other conditions: one question for all recipes.

Everything is read once, with a number of queries that does not grow with the recipes; nothing is
stored. Recipes are those of the active products, each in its product's mold, or all active recipes
in the molds that are stated. A change of superfat or lye concentration scales the recipes that it
is meant for anew (`recipes.services.planning.make_plan`, recipe by recipe); all else is priced over
columns.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING

from costing.domain.pricing import PriceBasis
from costing.domain.what_if import Sized, Table, table_of
from costing.domain.what_if_changes import (
    Change,
    GoodShare,
    LyeSetting,
    good_share,
    lye_settings,
    prices_after,
)
from costing.domain.what_if_effects import Outcome, Scenario, outcome
from costing.errors import WhatIfRefusal
from costing.queries.rates import missing_rates_note
from costing.queries.what_if_named import Named, named_changes
from costing.queries.what_if_reading import (
    Day,
    NotMade,
    Planned,
    asked_recipes,
    planned,
    read_day,
    sized,
)
from recipes.services.planning import Plan, make_plan
from studio.errors import Refusal

if TYPE_CHECKING:
    from inventory.models import Material


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
    change of its lye has it; `not_made` cannot be costed at all.
    """

    question: Question
    recipes: tuple[Planned, ...]
    base: Scenario
    together: Scenario
    outcome: Outcome
    materials: Mapping[int, "Material"]
    not_made: tuple[NotMade, ...]
    refused: Mapping[int, str]
    notes: tuple[str, ...]


def what_if(question: Question) -> Answer:
    """The effect of changes on the bar of every recipe. Stores nothing.

    A fixed number of queries for any number of recipes, lines and changes; two more for each level
    of blends that are made here. Raises WhatIfRefusal, CostNotKnown.
    """
    if question.basis is PriceBasis.PICKED_LOTS:
        raise WhatIfRefusal(
            "The lots that would be picked are what they cost: ask about replacement or the moving"
            " average.",
            field="basis",
        )
    asked = asked_recipes(formulas=question.formulas, molds=question.molds)
    recipes, not_made = planned(asked)
    if not recipes:
        reasons = " ".join(each.reason for each in not_made[:3])
        raise WhatIfRefusal(f"None of these recipes can be costed. {reasons}", field="formulas")
    day = read_day(recipes, on=question.on, basis=question.basis)
    changes, notes = named_changes(question.changes, recipes, day)
    scenes = _Scenes(recipes, day)
    alone = [scenes.of((change,)) for change in changes]
    together = alone[0] if len(alone) == 1 else scenes.of(changes)
    note = missing_rates_note(day.rates, on=question.on)
    return Answer(
        question=question,
        recipes=tuple(recipes),
        base=scenes.base,
        together=together,
        outcome=outcome(scenes.base, alone, together, basis=question.basis),
        materials=day.production.materials,
        not_made=tuple(not_made),
        refused=scenes.refused,
        notes=(*((note,) if note else ()), *notes),
    )


class _Scenes:
    """The scenarios of a question, with the recipes scaled anew where a change asks for it."""

    def __init__(self, recipes: Sequence[Planned], day: Day) -> None:
        self.recipes, self.day = recipes, day
        self.sizes = [sized(each, day) for each in recipes]
        self.base = Scenario(table=table_of(self.sizes), prices=day.prices)
        self.refused: dict[int, str] = {}

    def of(self, changes: Sequence[Change]) -> Scenario:
        """The scenario of some of the changes."""
        table, refused = self._table(changes)
        shares: tuple[Fraction, ...] = ()
        if any(isinstance(change, GoodShare) for change in changes):
            shares = tuple(good_share(changes, each.recipe.formula.pk) for each in self.recipes)
        return Scenario(
            table=table,
            prices=prices_after(self.day.prices, changes),
            shares=shares,
            refused=refused,
        )

    def _table(self, changes: Sequence[Change]) -> tuple[Table, frozenset[int]]:
        if not any(isinstance(change, LyeSetting) for change in changes):
            return self.base.table, frozenset()
        refused: dict[int, str] = {}
        sizes: list[Sized] = []
        for place, each in enumerate(self.recipes):
            settings = lye_settings(changes, each.recipe.formula.pk)
            try:
                sizes.append(self._again(each, settings) if settings else self.sizes[place])
            except Refusal as refusal:
                refused[place] = str(refusal)
                sizes.append(self.sizes[place])
        self.refused.update(refused)
        return table_of(sizes), frozenset(refused)

    def _again(self, each: Planned, settings: Mapping[str, object]) -> Sized:
        """A recipe with its lye set anew, in the same mold."""
        return sized(replace(each, plan=_with_lye(each.plan, settings)), self.day)


def _with_lye(plan: Plan, settings: Mapping[str, object]) -> Plan:
    soap = plan.loaded.soap
    if soap is None:
        return plan
    alkali = replace(soap.alkali, **settings)  # type: ignore[arg-type]
    return make_plan(replace(plan.loaded, soap=replace(soap, alkali=alkali)), plan.wish)
