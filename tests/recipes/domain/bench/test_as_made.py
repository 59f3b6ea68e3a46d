"""What was made by its weights: the concentration of the lye, and whether it may be sold."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.stock.contents import Contents
from inventory.domain.stock.leaves import Span
from recipes.domain.bench.as_made import (
    NO_ALKALI,
    NO_FATS,
    SLIP,
    asked_about,
    at_planned_weights,
    judged,
    lye_concentration,
    words_of,
)
from recipes.domain.chemistry.inside import of_slot
from recipes.domain.chemistry.safety import AS_PLANNED, LotTake, LotValues
from recipes.domain.formulas.formula import Basis, Line, Stage
from recipes.domain.formulas.scaled import FatTarget
from recipes.domain.scaling.scaling import scale
from studio.foundation.errors import Fault
from tests.recipes.domain.formulas.formulas import (
    CITRIC,
    KG,
    MILK,
    OLIVE,
    SCENT,
    USUAL_ALKALI,
    G,
    formula,
    growing_formulas,
    share,
)

MICRO = D("0.000001")
MG = 10**6
OLIVE_ONLY = formula(fats=(share(OLIVE, "1"),))


def naoh(grams, purity="1"):
    return [LotTake(grams * G, of_slot("naoh", usual=D(purity)))]


def water(grams):
    return [LotTake(grams * G)]


@given(growing_formulas, st.integers(200 * G, 20 * KG))
def test_as_planned_the_lye_is_as_strong_as_planned(recipe, fats):
    batch = scale(recipe, FatTarget(fats), resolution=MG)
    assert abs(lye_concentration(batch, AS_PLANNED) - batch.lye_concentration) <= MICRO
    check, faults = judged(batch, AS_PLANNED)
    assert check.superfat == batch.superfat
    assert bool(faults) == any(each.is_over for each in check.fragrances)


def test_the_lye_by_what_was_weighed_into_it():
    # 140 g of 98 % are 137.2 g NaOH in 400 g of lye: 34.3 %.
    batch = scale(OLIVE_ONLY, FatTarget(KG))
    values = LotValues(naoh=naoh(140, "0.98"), water=water(260))
    assert lye_concentration(batch, values) == D("0.343")


def test_two_containers_of_unlike_strength_are_one_lye():
    # 100 g of 50 % and 100 g of 40 % hold 90 g NaOH; with 50 g of water that is 36 %.
    stored = replace(USUAL_ALKALI, masterbatch_strength=D("0.5"))
    batch = scale(formula(fats=(share(OLIVE, "1"),), alkali=stored), FatTarget(KG))
    lots = [LotTake(100 * G, of_slot("naoh", usual=D(each))) for each in ("0.5", "0.4")]
    assert lye_concentration(batch, LotValues(masterbatch=lots, water=water(50))) == D("0.36")


@pytest.mark.parametrize(("counts", "expected"), [(True, "0.32"), (False, "0.4")])
def test_the_water_of_liquids_is_part_of_the_lye_where_it_counts(counts, expected):
    # 128 g NaOH with 192 g of water are 40 %; 100 g of a liquid that is 80 % water make it 32 %.
    milk = replace(MILK, water_share=D("0.8"))
    line = Line(milk, Basis.OF_FATS, Stage.LYE, D("0.05"), counts_as_water=counts)
    batch = scale(formula(line, fats=(share(OLIVE, "1"),)), FatTarget(KG))
    values = LotValues(
        lines={1: [LotTake(60 * G), LotTake(40 * G)]}, naoh=naoh(128), water=water(192)
    )
    assert lye_concentration(batch, values) == D(expected)
    # What was not weighed again is taken as planned: 50 g.
    as_planned = replace(values, lines={})
    whole = 320 + (40 if counts else 0)
    assert lye_concentration(batch, as_planned) == (D(128) / whole).quantize(MICRO)


def test_without_lye_there_is_no_concentration():
    batch = scale(OLIVE_ONLY, FatTarget(KG))
    assert lye_concentration(batch, LotValues(naoh=[], koh=[], masterbatch=[], water=[])) is None
    assert lye_concentration(batch, LotValues(naoh=[], water=water(1))) == 0


@given(st.integers(-60, 60))
def test_weights_are_asked_about_where_they_lower_the_worst_by_more_than_half_a_point(permille):
    batch = scale(OLIVE_ONLY, FatTarget(KG), resolution=MG)
    pure = of_slot("naoh", usual=D(1))
    values = LotValues(naoh=[LotTake(batch.naoh_ng * (1000 + permille) // 1000, pure)])
    weighed, _ = judged(batch, values)
    planned = at_planned_weights(batch, values)
    asked, how = asked_about(batch, values, weighed)
    # One per mille more of the alkali is about one per mille less superfat.
    if planned.worst - weighed.worst > SLIP:
        assert permille > 4 and (asked, how) == (weighed, " as weighed")
    else:
        assert permille < 6 and (asked, how) == (planned, "")


def codes(values, recipe=OLIVE_ONLY):
    check, faults = judged(scale(recipe, FatTarget(KG)), values)
    return check, [fault.code for fault in faults]


def test_more_alkali_than_the_fats_take_is_no_soap_to_sell():
    # 190 g KOH / 1.40274 = 135.45 g NaOH saponify a kilogram of 190 wholly.
    check, told = codes(LotValues(naoh=naoh(136)))
    assert check.superfat < 0 and told == ["lye-heavy"]
    check, told = codes(LotValues(naoh=naoh(135)))
    assert 0 <= check.superfat < D("0.004") and told == []


@pytest.mark.parametrize("grams", [0, 12, 13])
def test_a_pour_without_alkali_beyond_its_acids_is_no_soap(grams):
    # 20 g of citric acid take 12.49 g NaOH first: at 12 g all the fat is left, and more.
    acid = Line(CITRIC, Basis.OF_FATS, Stage.LYE, D("0.02"))
    check, told = codes(LotValues(naoh=naoh(grams)), formula(acid, fats=(share(OLIVE, "1"),)))
    assert told == ([NO_ALKALI] if grams < 13 else [])
    assert (check.superfat >= 1) == (grams < 13)


def test_fat_and_water_alone_are_no_soap():
    check, told = codes(LotValues(naoh=[]))
    assert (check.superfat, told) == (1, [NO_ALKALI])


@pytest.mark.parametrize("lye", [[], naoh(128)])
def test_what_holds_no_fat_is_no_soap_and_its_superfat_is_not_known(lye):
    for none in ([], [LotTake(0)], [LotTake(0), LotTake(0)]):
        assert codes(LotValues(lines={0: none}, naoh=lye)) == (None, [NO_FATS])


def test_what_is_wrong_beside_the_lye_is_told_with_it():
    scent = Line(SCENT, Basis.OF_FATS, Stage.TRACE, D("0.04"))
    recipe = formula(scent, fats=(share(OLIVE, "1"),))
    much = LotValues(lines={1: [LotTake(90 * G)]}, naoh=naoh(150))
    check, told = codes(much, recipe)
    assert told == ["lye-heavy", "fragrance-over-maximum"]
    assert check.fragrances[0].is_over


def test_too_much_fragrance_is_told_where_there_is_no_fat_or_no_alkali_in_it_too():
    """By hand: 40 g in 300 g of batter are 13.3 % and more once it cured, of at most 5 %."""
    scent = Line(SCENT, Basis.OF_FATS, Stage.TRACE, D("0.03"))
    recipe = formula(scent, fats=(share(OLIVE, "1"),))
    over = [LotTake(40 * G)]
    check, told = codes(LotValues(lines={0: [], 1: over}, naoh=naoh(130), water=water(130)), recipe)
    assert (check, told) == (None, [NO_FATS, "fragrance-over-maximum"])
    within = LotValues(lines={0: [], 1: [LotTake(G)]}, naoh=naoh(130), water=water(130))
    assert codes(within, recipe) == (None, [NO_FATS])
    # Nothing at all is weighed: there is nothing to be a share of.
    nothing = LotValues(lines={0: [], 1: []}, naoh=[], water=[])
    assert codes(nothing, recipe) == (None, [NO_FATS])
    check, told = codes(LotValues(lines={1: [LotTake(400 * G)]}, naoh=[]), recipe)
    assert (check.superfat, told) == (1, [NO_ALKALI, "fragrance-over-maximum"])


def test_unlike_certificates_count_each_by_its_mass():
    # 400 g of 184 and 600 g of 196 are 191.2 mg/g: 184 g KOH in NaOH leave 7.2 of 191.2 g open.
    lots = [
        LotTake(grams * G, Contents(demand=Span.exactly(D(value))))
        for grams, value in ((400, 184), (600, 196))
    ]
    check, told = codes(LotValues(lines={0: lots}, naoh=naoh(131, "1.00133")))
    koh = 131 * D("1.00133") * D("56.1056") / D("39.9971")
    assert abs(check.superfat - (1 - koh / D("191.2"))) <= D("0.00001")
    assert told == []


def test_reasons_are_one_text():
    assert words_of([]) == ""
    assert words_of([Fault("a", "One."), Fault("b", "Two.")]) == "One. Two."
