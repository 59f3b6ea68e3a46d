"""What a recipe costs is the sum of its parts, and what changes do to it adds up."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.bar_cost.conversion import Making, Work, conversion_of
from costing.domain.bar_cost.packing import Packing, Piece
from costing.domain.bar_cost.recipe_cost import (
    Prices,
    Sized,
    cost_of_recipe,
    packing_cost,
    replaced_at_offers,
    taken_at_average,
)
from costing.domain.bar_cost.replacement import OfferTerms, SupplierTerms, purchases_for
from costing.domain.rates.rates import RateKind, Rates
from costing.domain.what_if.changes import (
    GoodShare,
    LyeSetting,
    MaterialPrice,
    OfferPrice,
    RateChange,
    good_share,
    lye_settings,
    prices_after,
)
from costing.domain.what_if.effects import Scenario, costs_of, largest_first, outcome
from costing.errors import CostNotKnown, WhatIfRefusal
from inventory.domain.catalog.packs import PriceBreak
from inventory.domain.stock.lots import MovingAverage

KG = 10**12
BOX, CARTON, NOWHERE = 8, 9, 10
FREE = Rates(labor_per_hour=0, overhead_per_batch=0, overhead_per_labor_hour=0)
MONEY = st.integers(0, 10**6)
TIME = st.integers(0, 20_000)
WORKS = st.builds(Work, mix=TIME, cut=TIME, wrap=TIME, other=TIME, rack_days=TIME, energy_wh=TIME)
RATES = st.builds(
    Rates,
    labor_per_hour=MONEY,
    overhead_per_batch=MONEY,
    overhead_per_labor_hour=MONEY,
    mix_per_hour=MONEY | st.none(),
    cut_per_hour=MONEY | st.none(),
    wrap_per_hour=MONEY | st.none(),
    rack_per_week=MONEY,
    energy_per_kwh=MONEY,
)
# What is needed of a blend is at most what its batch gives.
MAKINGS = st.builds(
    lambda work, wanted, more: Making(need=1, work=work, wanted=wanted, output=wanted + more),
    work=WORKS,
    wanted=st.integers(1, KG),
    more=st.integers(0, 9 * KG),
)
PACKINGS = st.builds(
    Packing,
    bars_per_carton=st.integers(1, 48),
    pieces=st.sampled_from(
        [(Piece(material=BOX, pieces=2), Piece(material=CARTON, pieces=1, per_carton=True)), ()]
    ),
)
RECIPES = st.lists(
    st.builds(
        Sized,
        needs=st.dictionaries(st.integers(1, BOX), st.integers(0, 10**13)),
        bars=st.integers(1, 500),
        work=WORKS,
        packed=st.just(frozenset({BOX})),
        makings=st.lists(MAKINGS, max_size=2),
        packing=PACKINGS | st.none(),
    ),
    min_size=1,
    max_size=5,
)
SHARES = st.fractions(Fraction(1, 100), 1, max_denominator=100)


def offered(price=100_000, *, freight=95_000):
    supplier = SupplierTerms(id=1, freight=freight, free_freight_from=10**7)
    return {
        pk: (
            OfferTerms(
                id=pk,
                code=f"offer-{pk}",
                supplier=supplier,
                pack_amount=24 if pk in (BOX, CARTON) else 5 * KG,
                price=price * pk,
                breaks=(PriceBreak(4, price * pk * 9 // 10),),
            ),
        )
        for pk in (1, 2, 3, 4, 5, 6, 7, BOX, CARTON)
    }


def prices_with(rates):
    return Prices(offers=offered(), averages={}, rates=rates)


@given(RECIPES, RATES, SHARES)
def test_a_bar_bears_all_that_its_batch_takes_and_its_own_packing(recipes, rates, good):
    prices = prices_with(rates)
    for recipe in recipes:
        cost = cost_of_recipe(recipe, prices, replaced_at_offers, good=good)
        lines = purchases_for(recipe.needs, prices.offers).lines
        conversion = conversion_of(recipe.work, rates)
        making = sum(made.part(conversion_of(made.work, rates)) for made in recipe.makings)
        total = sum(line.cost for line in lines.values()) + making + conversion.total
        packs = lines[BOX].cost if BOX in lines else 0
        extra = packing_cost(recipe.packing, recipe.bars, prices) if recipe.packing else 0
        assert (cost.known_total, cost.labor, cost.overhead) == (
            total,
            conversion.labor,
            conversion.overhead,
        )
        assert cost.per_bar == round(
            (total - packs) / (recipe.bars * good) + Fraction(packs, recipe.bars) + extra
        )


@given(RECIPES, RATES, st.integers(2, 9))
def test_batches_at_once_work_once_each(recipes, rates, batches):
    prices = prices_with(rates)
    for recipe in recipes:
        one = cost_of_recipe(recipe, prices, replaced_at_offers)
        several = cost_of_recipe(replace(recipe, batches=batches), prices, replaced_at_offers)
        assert (several.labor, several.overhead) == (one.labor * batches, one.overhead * batches)
        assert several.bought == one.bought


@given(RECIPES, RATES, st.sampled_from([1, 3, BOX, CARTON]), st.integers(-100, 300))
def test_what_is_not_bought_again_costs_what_it_would_anew(recipes, rates, material, percent):
    """The same where the base is known and where it is not, on every way to value needs."""
    prices = replace(prices_with(rates), averages={1: MovingAverage(quantity=KG, cost=90_001)})
    change = MaterialPrice(material=material, by=Decimal(percent) / 100)
    base = Scenario(recipes=recipes, prices=prices)
    other = Scenario(
        recipes=[*recipes[:-1], replace(recipes[-1], bars=recipes[-1].bars + 1)],
        prices=prices_after(prices, [change]),
    )
    for buy in (replaced_at_offers, taken_at_average):
        known = costs_of(base, buy)
        assert costs_of(other, buy, base=base, costs=known) == costs_of(other, buy)


@given(RECIPES, RATES, st.integers(-100, 300))
def test_what_changes_do_adds_up(recipes, rates, percent):
    prices = prices_with(rates)
    changes = [
        MaterialPrice(material=1, by=Decimal(percent) / 100),
        RateChange(kind=RateKind.OVERHEAD_BATCH, amount=70_000),
    ]
    base = Scenario(recipes=recipes, prices=prices)
    alone = [Scenario(recipes=recipes, prices=prices_after(prices, [each])) for each in changes]
    together = Scenario(recipes=recipes, prices=prices_after(prices, changes))
    found = outcome(base, alone, together, buy=replaced_at_offers)
    for effect, recipe in zip(found.effects, recipes, strict=True):
        assert effect.base + sum(effect.alone) + effect.interaction == effect.changed
        for scene, moved in zip(alone, effect.alone, strict=True):
            cost = cost_of_recipe(recipe, scene.prices, replaced_at_offers)
            assert cost.per_bar == effect.base + moved
    moves = [abs(effect.difference) for effect in largest_first(found.effects)]
    assert moves == sorted(moves, reverse=True)


@given(RECIPES, RATES)
def test_without_a_change_nothing_moves(recipes, rates):
    same = Scenario(recipes=recipes, prices=prices_with(rates))
    for effect in outcome(same, [same], same, buy=replaced_at_offers).effects:
        assert effect.base == effect.changed
        assert (effect.alone, effect.interaction) == ((0,), 0)


def sized(**needs):
    return Sized(needs={int(k[1:]): v for k, v in needs.items()}, bars=10, work=Work())


def effects_of(recipes, prices, *changes):
    base = Scenario(recipes=recipes, prices=prices)
    after = Scenario(recipes=recipes, prices=prices_after(prices, changes))
    return outcome(base, [after], after, buy=replaced_at_offers).effects


def test_what_nobody_offers_has_no_cost_and_comes_last():
    prices = prices_with(FREE)
    recipes = [sized(m10=KG), sized(m1=KG)]
    effects = effects_of(recipes, prices, MaterialPrice(material=1, by=Decimal("0.5")))
    assert effects[0].changed is None and effects[0].difference is None
    assert [each.place for each in largest_first(effects)] == [1, 0]
    asked = MaterialPrice(material=NOWHERE, price=90_000, per=KG)
    assert effects_of(recipes, prices, asked)[0].changed == 9_000


def test_a_price_that_is_asked_bears_no_freight_of_others():
    """1 kg at 9.00 a kilogram is 9.00; the other line keeps its freight."""
    prices = prices_with(FREE)
    asked = MaterialPrice(material=1, price=90_000, per=KG)
    before, after = (
        purchases_for({1: KG, 2: KG}, each.offers).lines
        for each in (prices, prices_after(prices, [asked]))
    )
    assert after[1].cost == 90_000 and after[1].freight == 0
    assert after[2].freight == 95_000 > before[2].freight


def test_an_offer_moves_with_its_breaks_or_goes():
    prices = prices_with(FREE)
    dearer = prices_after(prices, [OfferPrice(offer=2, by=Decimal("0.5"))]).offers[2][0]
    assert (dearer.price, dearer.breaks[0].price) == (300_000, 270_000)
    other = prices_after(prices, [OfferPrice(offer=2, price=100_000)]).offers[2][0]
    assert (other.price, other.breaks[0].price) == (100_000, 90_000)
    assert prices_after(prices, [OfferPrice(offer=2, withdrawn=True)]).offers[2] == ()
    assert prices_after(prices, [OfferPrice(offer=99, withdrawn=True)]) == prices


@given(
    st.dictionaries(st.integers(1, 6), st.integers(0, 10**13)),
    st.dictionaries(
        st.integers(1, 6),
        st.builds(MovingAverage, quantity=st.integers(0, 10**16), cost=st.integers(0, 10**10)),
    ),
)
def test_needs_at_their_average_cost_their_part_of_what_is_held(needs, averages):
    found = taken_at_average(needs, Prices(offers={}, averages=averages, rates=FREE))
    held = {pk: each for pk, each in averages.items() if each.quantity}
    assert found.costs == {
        pk: round(Fraction(held[pk].cost * need, held[pk].quantity))
        for pk, need in needs.items()
        if pk in held
    }
    assert set(found.missing) == {pk for pk, need in needs.items() if need and pk not in held}


def test_an_average_moves_by_what_is_held():
    held = Prices(offers={}, averages={1: MovingAverage(quantity=KG, cost=1_001)}, rates=FREE)
    moved = prices_after(held, [MaterialPrice(material=1, by=Decimal("0.5"))]).averages[1]
    assert moved == MovingAverage(quantity=KG, cost=1_502)  # half to even
    assert prices_after(held, [MaterialPrice(material=2, by=Decimal(1))]).averages == held.averages


def test_a_rate_that_is_not_there_cannot_move_by_a_share():
    with pytest.raises(WhatIfRefusal, match="labor cut hour"):
        prices_after(prices_with(FREE), [RateChange(kind=RateKind.LABOR_CUT_HOUR, by=Decimal(1))])


@given(RECIPES, RATES, st.integers(-100, 300))
def test_what_no_rate_is_known_of_moves_all_the_same_by_a_price(recipes, rates, percent):
    """What both costs lack is the same, so it cancels; the bar itself is not known."""
    change = MaterialPrice(material=1, by=Decimal(percent) / 100)
    unpaid = prices_with(replace(rates, overhead_per_batch=None))
    free = prices_with(replace(rates, overhead_per_batch=0))
    found, known = (effects_of(recipes, prices, change) for prices in (unpaid, free))
    for effect, other in zip(found, known, strict=True):
        assert (effect.base, effect.changed) == (None, None)
        assert (effect.base_at_least, effect.changed_at_least) == (other.base, other.changed)
        assert effect.difference == other.difference


@given(RECIPES, RATES, st.fractions(Fraction(1, 100), Fraction(99, 100), max_denominator=100))
def test_a_yield_moves_what_is_not_known_too_so_nobody_knows_by_how_much(recipes, rates, good):
    prices = prices_with(replace(rates, overhead_per_batch=None))
    base = Scenario(recipes=recipes, prices=prices)
    after = Scenario(recipes=recipes, prices=prices, shares=[good] * len(recipes))
    for effect in outcome(base, [after], after, buy=replaced_at_offers).effects:
        assert effect.base is effect.changed is effect.difference is None
        assert effect.base_at_least is not None


def test_a_rate_that_is_asked_about_makes_a_bar_known():
    prices = prices_with(replace(FREE, overhead_per_batch=None))
    asked = RateChange(kind=RateKind.OVERHEAD_BATCH, amount=50_000)
    effect = effects_of([sized(m1=KG)], prices, asked)[0]
    assert (effect.base, effect.difference) == (None, None)
    assert effect.changed == effect.base_at_least + 5_000  # 10 bars


def test_shares_and_lye_are_meant_for_some_recipes_or_all():
    some = frozenset({1})
    changes = [
        GoodShare(share=Decimal("0.9"), formulas=some),
        LyeSetting(superfat=Decimal("0.04"), formulas=some),
        LyeSetting(lye_concentration=Decimal("0.3")),
    ]
    assert (good_share(changes, 1), good_share(changes, 2)) == (Fraction(9, 10), 1)
    assert lye_settings(changes, 1) == {
        "superfat": Decimal("0.04"),
        "lye_concentration": Decimal("0.3"),
    }
    assert lye_settings(changes, 2) == {"lye_concentration": Decimal("0.3")}


def test_packing_that_nobody_offers_costs_its_average_or_is_not_known():
    packing = Packing(bars_per_carton=24, pieces=(Piece(material=NOWHERE, pieces=1),))
    prices = prices_with(FREE)
    assert packing_cost(packing, 10, prices) is None
    held = {NOWHERE: MovingAverage(quantity=3, cost=100)}
    assert packing_cost(packing, 10, Prices(offers={}, averages=held, rates=FREE)) == Fraction(
        100, 3
    )
    costs = effects_of(
        [Sized(needs={1: KG}, bars=10, work=Work(), packing=packing)],
        prices,
        MaterialPrice(material=1, by=Decimal(1)),
    )
    assert costs[0].base is None


def test_more_money_than_can_be_kept_is_refused():
    prices = prices_with(replace(FREE, labor_per_hour=2**60))
    recipe = Sized(needs={1: KG}, bars=1, work=Work(other=3600 * 90))
    with pytest.raises(CostNotKnown, match="more than can be kept"):
        cost_of_recipe(recipe, prices, replaced_at_offers)
