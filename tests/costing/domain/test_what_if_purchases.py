"""Buying for many recipes at once is buying for each of them, to the last unit."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from costing.domain.replacement import OfferTerms, SupplierTerms, purchases_for
from costing.domain.what_if_needs import averaged, needs_of
from costing.domain.what_if_purchases import replaced_again, replaced_at_once
from inventory.domain.lots import MovingAverage
from inventory.domain.price_breaks import PriceBreak

KG = 10**12
MATERIALS = range(1, 7)
PRICES = st.sampled_from([0, 1, 99_999, 314_000, 10**7, 10**14])
PACKS = st.sampled_from([1, 24, 999_999_999_999, KG, 35 * 453_592_370_000])
AMOUNTS = st.sampled_from([0, 1, 23, KG - 1, 7 * KG, 10**16]) | st.integers(0, 10**13)
RECIPES = st.lists(st.dictionaries(st.sampled_from(MATERIALS), AMOUNTS), max_size=6)


@st.composite
def suppliers(draw):
    return [
        SupplierTerms(
            id=pk,
            freight=draw(st.sampled_from([0, 95_000, 140_001])),
            free_freight_from=draw(st.sampled_from([None, 0, 500_000, 10**8])),
        )
        for pk in range(1, 4)
    ]


@st.composite
def catalogs(draw):
    """Offers by material; some differ in their supplier only, so that they are as good."""
    known = draw(suppliers())
    found, number = {}, 0
    for material in MATERIALS:
        some = []
        for _ in range(draw(st.integers(0, 3))):
            number += 1
            price = draw(PRICES)
            steps = [PriceBreak(3, price * 9 // 10), PriceBreak(12, price * 7 // 10)]
            offer = OfferTerms(
                id=number,
                code=str(number),
                supplier=draw(st.sampled_from(known)),
                pack_amount=draw(PACKS),
                price=price,
                breaks=steps[: draw(st.integers(0, 2))] if price > 10 else (),
                minimum_packs=draw(st.sampled_from([1, 4])),
            )
            some.append(offer)
            if draw(st.booleans()):
                number += 1
                other = draw(st.sampled_from(known))
                some.append(replace(offer, id=number, supplier=other))
        found[material] = some
    return found


def same(buy, needs, prices, expected):
    """Whether each cell costs what was expected; only what no column can keep is refused."""
    try:
        found = buy(needs, prices)
    except OverflowError:
        assert max(cost for cost in expected.values() if cost is not None) >= 2**61
        return
    assert cells_of(needs, found) == expected


def cells_of(needs, found):
    rows = zip(
        needs.recipe.tolist(),
        needs.material.tolist(),
        found.cost.tolist(),
        found.unpriced.tolist(),
        strict=True,
    )
    return {
        (recipe, needs.materials[material]): None if unpriced else cost
        for recipe, material, cost, unpriced in rows
    }


@settings(max_examples=100)
@given(RECIPES, catalogs())
def test_every_cell_costs_what_the_rules_of_replacement_say(recipes, offers):
    needs = needs_of(recipes)
    expected = {}
    for recipe, wanted in enumerate(recipes):
        plain = purchases_for(wanted, offers)
        expected |= {(recipe, pk): line.cost for pk, line in plain.lines.items()}
        expected |= {(recipe, pk): None for pk in plain.missing}
    same(replaced_at_once, needs, offers, expected)


@given(
    RECIPES,
    st.dictionaries(
        st.sampled_from(MATERIALS),
        st.builds(MovingAverage, quantity=st.integers(0, 10**16), cost=st.integers(0, 10**10)),
    ),
)
def test_every_cell_costs_what_the_average_says(recipes, averages):
    needs = needs_of(recipes)
    expected = {
        (recipe, pk): averages[pk].cost_of(amount)
        if pk in averages and averages[pk].quantity
        else None
        for recipe, wanted in enumerate(recipes)
        for pk, amount in wanted.items()
        if amount
    }
    same(averaged, needs, averages, expected)


@given(RECIPES, catalogs(), st.sets(st.sampled_from(MATERIALS)), st.integers(0, 10**7))
def test_other_offers_of_some_materials_are_bought_as_if_anew(recipes, old, some, price):
    needs = needs_of(recipes)
    moved = {
        pk: [replace(offer, price=price, breaks=()) for offer in old[pk]] if pk in some else old[pk]
        for pk in old
    }
    try:
        before, anew = replaced_at_once(needs, old), replaced_at_once(needs, moved)
        again = replaced_again(needs, moved, before=before, old=old)
    except OverflowError:
        return
    assert again.cost.tolist() == anew.cost.tolist()
    assert again.unpriced.tolist() == anew.unpriced.tolist()


def test_figures_beyond_64_bits_are_bought_for_one_by_one():
    offer = OfferTerms(id=1, code="tiny", supplier=SupplierTerms(id=1), pack_amount=1, price=2**40)
    needs = needs_of([{1: 2**22}])
    assert replaced_at_once(needs, {1: [offer]}).cost.tolist() == [2**62]
