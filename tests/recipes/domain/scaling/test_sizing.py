"""Batter and volume by the sums that a maker would do, line by line."""

from dataclasses import replace
from decimal import Decimal as D

import pytest

from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.formulas.formula import Basis, Line, Stage
from recipes.domain.scaling.sizing import (
    GrowsWith,
    counted_water_share,
    density_in_batter,
    rate,
    size_of,
    without_density,
)
from tests.recipes.domain.formulas.formulas import (
    CASTOR,
    CITRIC,
    CLAY,
    COCONUT,
    EGG,
    KG,
    MILK,
    OLIVE,
    USUAL_ALKALI,
    WRAP,
    G,
    formula,
    share,
)

WARM = D(40)


def line(ingredient, basis=Basis.OF_FATS, stage=Stage.TRACE, amount="0.05", **more):
    return Line(ingredient, basis, stage, D(amount), **more)


# Density in the batter: a fat is lighter by 0.0007 g/mL for each degree that it is warmer (textbook
# average of liquid fats, from memory), everything else is as it was measured.


@pytest.mark.parametrize(
    ("where", "density"),
    [
        (share(OLIVE, "1"), "0.897"),  # 0.911 at 20 C, 20 C warmer
        (line(CASTOR), "0.943"),  # a fat that is no part of the fats warms all the same
        (share(COCONUT, "1"), "0.913"),  # measured at the pour's own 40 C
        (share(replace(OLIVE, kind=MaterialKind.INTERMEDIATE), "1"), "0.897"),
        (share(replace(OLIVE, density_temperature_c=None), "1"), "0.911"),
        (line(MILK), "1.031"),
        (line(replace(MILK, density_temperature_c=D(4))), "1.031"),
        (line(replace(CLAY, density_temperature_c=D(4))), "2.5"),
    ],
)
def test_fats_thin_out_as_they_warm_and_nothing_else_does(where, density):
    assert density_in_batter(where, temperature_c=WARM) == D(density)


@pytest.mark.parametrize(
    ("where", "density"),
    [
        # common practice, no source: fats float on water, the rest is as water
        (share(replace(OLIVE, density_g_ml=None), "1"), "0.90"),
        (line(replace(OLIVE, density_g_ml=None)), "0.90"),
        (
            share(replace(OLIVE, density_g_ml=None, kind=MaterialKind.INTERMEDIATE), "1"),
            "0.90",
        ),
        (line(replace(OLIVE, density_g_ml=None, density_temperature_c=None)), "0.90"),
        (line(replace(CLAY, density_g_ml=None)), "1.00"),
        (line(replace(CLAY, density_g_ml=None, density_temperature_c=D(20))), "1.00"),
    ],
)
def test_what_has_no_density_is_taken_as_oil_or_as_water(where, density):
    assert density_in_batter(where, temperature_c=WARM) == D(density)


def test_only_what_is_in_the_batter_is_asked_for_a_density():
    bare = replace(CLAY, density_g_ml=None)
    inside = [line(bare, stage=s) for s in (Stage.FATS, Stage.LYE, Stage.TRACE, Stage.PORTION)]
    outside = [line(bare, stage=stage) for stage in (Stage.TOP, Stage.PACK)]
    assert without_density([*inside, *outside, line(CLAY)]) == [bare] * 4


# What a line grows with


@pytest.mark.parametrize(
    ("where", "grows", "amount"),
    [
        (share(OLIVE, "0.4"), GrowsWith.FATS, "0.4"),
        (line(CLAY, amount="0.02"), GrowsWith.FATS, "0.02"),
        (line(CLAY, Basis.G_PER_KG_FATS, amount="20"), GrowsWith.FATS, "0.02"),
        (line(EGG, Basis.PIECE_PER_FATS, amount="500"), GrowsWith.FATS, "0.1"),
        (line(CLAY, Basis.OF_BATTER), GrowsWith.BATTER, "0.05"),
        (line(CLAY, Basis.FIXED, amount="7.5"), GrowsWith.NOTHING, "7.5E9"),
        (line(EGG, Basis.FIXED, amount="2"), GrowsWith.NOTHING, "100E9"),
        (line(CLAY, Basis.PER_BAR, amount="2"), GrowsWith.NOTHING, "18E9"),
        (line(EGG, Basis.PER_BAR, amount="2"), GrowsWith.NOTHING, "900E9"),
        (line(WRAP, Basis.PER_BAR, Stage.PACK, "2"), GrowsWith.NOTHING, "0"),
        (
            line(CLAY, Basis.OF_PORTION, Stage.PORTION, portion_share=D("0.4")),
            GrowsWith.BATTER,
            "0.02",
        ),
    ],
)
def test_each_basis_grows_as_it_says(where, grows, amount):
    assert rate(where, bars=9) == (grows, D(amount))


@pytest.mark.parametrize(("density", "grams"), [("2.5", 12.322), (None, 4.929)])
def test_a_teaspoon_per_pound_of_fats(density, grams):
    # NIST Handbook 44, appendix C: a US teaspoon is 4.928 922 mL, a pound 453.592 37 g. What has
    # no density weighs as water does.
    clay = replace(CLAY, density_g_ml=density and D(density))
    spoon = line(clay, Basis.TSP_PER_LB_FATS, Stage.PORTION, "1", portion_share=D("0.25"))
    grows, amount = rate(spoon, bars=0)
    assert grows is GrowsWith.FATS
    assert float(amount) == pytest.approx(grams / 453.59237 / 4, rel=1e-4)


def test_only_water_that_counts_is_part_of_the_lye():
    assert counted_water_share(line(MILK, counts_as_water=True)) == MILK.water_share
    assert counted_water_share(line(MILK)) == 0


# The whole


def test_the_batter_of_a_kilogram_of_olive_oil_by_hand():
    # 190 mg KOH/g x 0.95 / 1.40274 = 128.676 g NaOH; / 0.33 = 389.93 g lye. A quarter of the way
    # from 32 % (1.3362) to 36 % (1.3768 g/mL at 40 C, International Critical Tables III, p. 79)
    # that is 289.61 mL; the oil is 1000 g / 0.897 = 1114.83 mL.
    size = size_of(formula(fats=(share(OLIVE, "1"),)), bars=0, temperature_c=WARM)
    assert float(size.batter.at(D(KG))) / G == pytest.approx(1389.93, abs=0.01)
    assert float(size.volume.at(D(KG))) / 10**6 == pytest.approx(1114.83 + 289.61, abs=0.02)
    assert size.batter.fixed == size.volume.fixed == 0


def bare(*lines, alkali=USUAL_ALKALI):
    """Batter in g and volume in mL of one kilogram of olive oil with these lines, for nine bars."""
    recipe = formula(*lines, fats=(share(OLIVE, "1"),), alkali=alkali)
    size = size_of(recipe, bars=9, temperature_c=WARM)
    return float(size.batter.at(D(KG))) / G, float(size.volume.at(D(KG))) / 10**6


@pytest.mark.parametrize(
    ("extra", "grams", "milliliters"),
    [
        (line(CLAY, amount="0.02"), 20, 8),
        (line(CLAY, Basis.FIXED, amount="25"), 25, 10),
        (line(CLAY, Basis.PER_BAR, amount="5"), 45, 18),
        (line(EGG, Basis.PIECE_PER_FATS, amount="500"), 100, 100 / 1.027),
        (line(MILK), 50, 50 / 1.031),
        (line(CLAY, stage=Stage.TOP), 0, 0),
        (line(WRAP, Basis.PER_BAR, Stage.PACK, "1"), 0, 0),
        # A fat on top of the fats is there, and gets no alkali.
        (line(CASTOR, amount="0.05"), 50, 50 / 0.943),
    ],
)
def test_each_line_adds_its_mass_and_its_volume(extra, grams, milliliters):
    with_it, without = bare(extra), bare()
    assert with_it[0] - without[0] == pytest.approx(grams, abs=1e-6)
    assert with_it[1] - without[1] == pytest.approx(milliliters, abs=1e-6)


def test_water_that_counts_takes_the_place_of_plain_water():
    # Of 50 g of milk 43.515 g are water of the lye; 6.485 g come on top.
    with_it, without = bare(line(MILK, counts_as_water=True)), bare()
    assert with_it[0] - without[0] == pytest.approx(50 * (1 - 0.8703), abs=1e-6)
    assert with_it[1] - without[1] == pytest.approx(50 * (1 - 0.8703) / 1.031, abs=1e-6)


def test_an_acid_brings_the_lye_that_it_takes():
    # 20 g of citric acid x 0.6246 = 12.492 g NaOH, in 37.85 g of lye; acids get no superfat.
    acid = line(CITRIC, stage=Stage.LYE, amount="0.02")
    assert bare(acid)[0] - bare()[0] == pytest.approx(20 + 12.492 / 0.33, abs=1e-3)
    lean = replace(USUAL_ALKALI, superfat=D(0))
    assert bare(acid, alkali=lean)[0] - bare(alkali=lean)[0] == pytest.approx(
        20 + 12.492 / 0.33, abs=1e-3
    )


def test_a_share_of_the_batter_is_one_of_the_batter_that_it_is_in():
    # A tenth of the whole: the rest is nine tenths, and its volume is that of the clay beside it.
    with_it, without = bare(line(CLAY, Basis.OF_BATTER, amount="0.1")), bare()
    assert with_it[0] == pytest.approx(without[0] / 0.9, rel=1e-9)
    assert with_it[1] == pytest.approx(without[1] + with_it[0] / 10 / 2.5, rel=1e-9)
