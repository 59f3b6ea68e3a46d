"""A price basis is described once: whoever iterates over them needs to name none."""

import pytest

from costing.api.what_if.what_if import ASKED_BASES
from costing.domain.bar_cost.bar_cost import bar_waterfall
from costing.domain.rates.rates import RateKind
from costing.errors import WhatIfRefusal
from costing.queries.bar_cost.plans import costs_of_plan
from costing.queries.bar_cost.price_basis import Basis, LookUp, PriceBasis, Priced
from costing.queries.bar_cost.recipe_costs import mold_costs, recipe_costs
from costing.queries.what_if.named import Named
from costing.queries.what_if.what_if import Question, what_if
from recipes.models.formulas.formulas import Formula
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from tests.costing.making import make_rates
from tests.costing.priced import offered
from tests.costing.selling import a_product
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, stock


class AnUnitEach(LookUp):
    """As if every gram cost the same, save the water, which has no price."""

    def __init__(self, water):
        self.water = water

    @classmethod
    def read(cls, plans, *, on, rates, lacking):
        return cls({pk for plan in plans for pk, m in plan.materials.items() if m.code == "water"})

    def price(self, needs):
        return Priced(
            costs={pk: 10_000 for pk in needs if pk not in self.water},
            unpriced={pk: need for pk, need in needs.items() if pk in self.water},
        )


class More(Basis):
    """One more than there are."""

    EVEN = ("even", "All alike", "Water is free.", AnUnitEach)


@pytest.fixture
def plan(db):
    bench = make_bench()
    make_rates()
    stock(bench)
    offered(bench)
    a_product(bench)
    return make_plan(load_formula(code="plain"), Wish(mold=bench.mold))


def test_one_more_is_priced_drawn_and_says_what_it_lacks(plan):
    bases = [*PriceBasis, More.EVEN]
    found = costs_of_plan(plan, on=TODAY, bases=bases)
    assert [each.basis for each in found] == bases
    for each in found:
        assert bar_waterfall(each.bar)[-1].total == each.bar.per_bar
    even = found[-1]
    assert {line.cost for line in even.cost.lines if line.code == "olive"} == {10_000}
    assert [(m.material.code, m.reason) for m in even.missing] == [("water", "Water is free.")]
    assert mold_costs("plain", on=TODAY, basis=More.EVEN).molds


def test_each_has_its_words_and_its_own_look_up():
    for name in ("words", "lacking", "look_up"):
        assert len({getattr(basis, name) for basis in PriceBasis}) == len(PriceBasis)
        assert all(getattr(basis, name) for basis in PriceBasis)


@pytest.mark.parametrize("basis", PriceBasis)
def test_each_costs_molds_and_recipes_as_it_costs_a_plan(plan, basis):
    (ordinary,) = costs_of_plan(plan, on=TODAY, bases=[basis])
    assert ordinary.complete
    (in_mold,) = mold_costs("plain", on=TODAY, basis=basis).molds
    (recipe,) = recipe_costs(
        Formula.objects.filter(code="plain"), mold="loaf", on=TODAY, basis=basis
    )
    assert in_mold.per_bar == recipe.per_bar == ordinary.bar.per_bar


@pytest.mark.parametrize("basis", PriceBasis)
def test_what_if_asks_about_those_whose_prices_can_be_others(plan, basis):
    """With no change that moves anything it is the ordinary cost of the plan."""
    question = Question(changes=[Named(rate=RateKind.ENERGY_KWH, price=1)], on=TODAY, basis=basis)
    if basis not in dict(ASKED_BASES):
        with pytest.raises(WhatIfRefusal, match="what they cost"):
            what_if(question)
        return
    (ordinary,) = costs_of_plan(plan, on=TODAY, bases=[basis])
    (effect,) = what_if(question).outcome.effects
    assert effect.base == effect.changed == ordinary.bar.per_bar
