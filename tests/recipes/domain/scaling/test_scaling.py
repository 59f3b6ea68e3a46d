"""Scaling: straight lines where they should be, targets hit, and lye that follows the scale."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inventory.domain.stock.leaves import Span
from recipes.domain.formulas.formula import Basis, Line, Stage
from recipes.domain.formulas.scaled import (
    BarsTarget,
    BatterTarget,
    FatTarget,
    VolumeTarget,
)
from recipes.domain.scaling.scaling import scale, set_lye_on_lots
from recipes.errors import FormulaRefusal, OutsideTable, ScalingRefusal
from tests.recipes.domain.formulas.formulas import (
    CITRIC,
    CLAY,
    EGG,
    KG,
    MILK,
    OLIVE,
    USUAL_ALKALI,
    WRAP,
    G,
    fat,
    formula,
    growing_formulas,
    share,
)

LITER_NL = 10**9
MG = 10**6

targets = st.one_of(
    st.builds(FatTarget, st.integers(200 * G, 20 * KG)),
    st.builds(BatterTarget, st.integers(200 * G, 20 * KG)),
    st.builds(VolumeTarget, st.integers(LITER_NL // 5, 20 * LITER_NL), st.just(D("0.04"))),
    st.builds(BarsTarget, st.integers(2, 200), st.integers(90 * G, 150 * G)),
)


def times(target, factor):
    match target:
        case FatTarget(fats_ng):
            return FatTarget(fats_ng * factor)
        case BatterTarget(batter_ng):
            return BatterTarget(batter_ng * factor)
        case VolumeTarget(volume_nl, overfill_share):
            return VolumeTarget(volume_nl * factor, overfill_share)
        case BarsTarget(bars, poured_weight_ng):
            return BarsTarget(bars * factor, poured_weight_ng)


def codes(batch):
    return {notice.code for notice in batch.notices}


# Properties


@given(growing_formulas, targets, st.integers(2, 9))
def test_scaling_is_linear(recipe, target, factor):
    once, often = (scale(recipe, t, resolution=1) for t in (target, times(target, factor)))
    for small, large in zip(once.lines, often.lines, strict=True):
        assert abs(large.exact_ng - factor * small.exact_ng) <= factor
    for name in ("fats_ng", "naoh_ng", "koh_ng", "extra_water_ng", "batter_ng"):
        # each of the at most eight lines behind a sum is rounded to one ng
        assert abs(getattr(often, name) - factor * getattr(once, name)) <= 16 * factor


@given(growing_formulas, st.integers(500 * G, 20 * KG))
def test_a_batter_target_is_met(recipe, wanted):
    batch = scale(recipe, BatterTarget(wanted), resolution=1)
    assert abs(batch.batter_ng - wanted) <= 20


@given(growing_formulas, st.integers(2, 200), st.integers(90 * G, 150 * G))
def test_bars_come_out_after_the_pot_has_kept_its_share(recipe, bars, weight):
    batch = scale(recipe, BarsTarget(bars, weight), resolution=1)
    assert abs(batch.batter_ng * (1 - recipe.pot_loss_share) - bars * weight) <= 20
    assert batch.bars == bars


@given(growing_formulas, st.integers(LITER_NL // 2, 20 * LITER_NL), st.integers(25, 60).map(D))
def test_a_volume_target_is_filled(recipe, wanted, warmth):
    batch = scale(recipe, VolumeTarget(wanted), resolution=1, pour_temperature_c=warmth)
    poured = batch.batter_volume_nl * (1 - recipe.pot_loss_share)
    assert float(poured) == pytest.approx(wanted, rel=1e-6)


def scaled_on(recipe, target, scales):
    """The batch, where its alkali is not too little for a scale: that is refused, and said so."""
    try:
        return scale(recipe, target, resolution=scales)
    except ScalingRefusal as refusal:
        assert refusal.faults[0].field == "resolution" and "no scale here" in str(refusal)
        assume(False)


@given(growing_formulas, targets, st.sampled_from([G // 10, G, 5 * G]))
def test_rounding_to_the_scale_never_makes_it_lye_heavy(recipe, target, step):
    batch = scaled_on(recipe, target, step)
    assert batch.superfat >= 0
    weighed = [line.rounded_ng for line in batch.lines if line.pieces is None]
    shown = [mass for mass in weighed if mass > step // 2]
    assert all(mass % step == 0 for mass in (*shown, batch.naoh_ng, batch.extra_water_ng))


@given(growing_formulas, targets)
def test_masses_are_conserved(recipe, target):
    batch = scale(recipe, target, resolution=100 * MG)
    lines = sum(line.rounded_ng for line in batch.lines)
    alkali = batch.naoh_ng + batch.koh_ng + batch.masterbatch_ng
    assert batch.batter_ng == lines + alkali + batch.extra_water_ng
    assert batch.water_ng == batch.extra_water_ng + batch.counted_water_ng


@given(growing_formulas, targets)
def test_at_full_resolution_the_settings_come_back(recipe, target):
    batch = scale(recipe, target, resolution=1)
    assert abs(batch.superfat - recipe.alkali.superfat) <= D("0.000001")
    assert abs(batch.lye_concentration - recipe.alkali.lye_concentration) <= D("0.000001")
    assert batch.worst_superfat <= batch.superfat


def test_overfill_makes_that_much_more():
    exact, over = (
        scale(formula(), VolumeTarget(LITER_NL, D(share)), resolution=1) for share in ("0", "0.04")
    )
    assert float(over.batter_volume_nl) == pytest.approx(1.04 * exact.batter_volume_nl, rel=1e-6)


# Published and common practice


def egg_per_500_g(**more):
    return Line(EGG, Basis.PIECE_PER_FATS, Stage.TRACE, D(500), **more)


@pytest.mark.parametrize(("fats_g", "eggs"), [(1500, 3), (500, 1), (1600, 3), (800, 2), (200, 0)])
def test_one_whole_egg_per_500_g_of_fats(fats_g, eggs):
    # common practice, no source: 3 eggs at 1,500 g
    batch = scale(formula(egg_per_500_g()), FatTarget(fats_g * G))
    egg = batch.lines[-1]
    assert (egg.pieces, egg.stock_amount, egg.rounded_ng) == (eggs, eggs, eggs * 50 * G)
    assert ("rounded-to-nothing" in codes(batch)) == (eggs == 0)


def test_the_water_of_eggs_counts_and_their_fat_is_extra_superfat():
    plain = scale(formula(egg_per_500_g()), FatTarget(1500 * G))
    counted = scale(formula(egg_per_500_g(counts_as_water=True)), FatTarget(1500 * G))
    # USDA National Nutrient Database: whole raw egg 76.15 % water, 9.51 % fat
    assert counted.counted_water_ng == 150 * G * 7615 // 10000
    assert plain.water_ng - counted.water_ng <= G
    assert plain.extra_water_ng - counted.extra_water_ng == 114 * G
    assert counted.extra_superfat == D("150") * D("0.0951") / 1500


def test_usual_recipe_takes_0_40_oz_of_fats_per_cubic_inch():
    # common practice, no source: 0.40 (0.38 to 0.42) oz of fats per cubic inch of mold, lye water
    # at 33 to 38 % of the fats. 1 in3 = 16.387064 mL and 1 oz = 28.349523125 g exactly (NIST).
    recipe = formula(alkali=replace(USUAL_ALKALI, lye_concentration=D("0.29")))
    batch = scale(recipe, VolumeTarget(16_387_064 * 100), resolution=1)
    assert D("0.33") <= D(batch.extra_water_ng) / batch.fats_ng <= D("0.38")
    ounces_per_cubic_inch = batch.fats_ng / 28_349_523_125 / 100
    assert ounces_per_cubic_inch == pytest.approx(0.40, abs=0.02)


@pytest.mark.parametrize("concentration", ["0.25", "0.29", "0.33", "0.40"])
def test_fresh_batter_weighs_0_98_to_1_06_g_per_ml(concentration):
    # common practice, no source
    recipe = formula(alkali=replace(USUAL_ALKALI, lye_concentration=D(concentration)))
    batch = scale(recipe, FatTarget(1000 * G))
    assert D("0.98") <= batch.density_g_ml <= D("1.06")


@pytest.mark.parametrize(
    ("name", "low", "high", "left"),
    [
        ("coconut", 248, 265, "1.7"),
        ("palm", 190, 209, "0.3"),
        ("palm kernel", 230, 254, "0.0"),
        ("rice bran", 180, 199, "0.0"),
        ("shea", 160, 195, "-5.4"),
    ],
)
def test_what_the_worst_lot_of_the_codex_range_leaves(name, low, high, left):
    # Ranges: CXS 210-1999 Table 2; shea CXS 325R-2017 Table 2. 1 - 0.95 x middle / low end.
    single = formula(fats=(share(fat(name, low, high), "1"),))
    batch = scale(single, FatTarget(1000 * KG), resolution=1)
    assert abs(batch.worst_superfat * 100 - D(left)) <= D("0.05")
    assert ("lye-heavy-at-range-end" in codes(batch)) == (batch.worst_superfat < 0)


def test_lye_of_a_kilogram_of_olive_oil_by_hand():
    # 1000 g x 190 mg/g = 190 g KOH; x 0.95 / 1.40274 = 128.68 g NaOH; / 0.98 = 131.3 g weighed;
    # lye 128.68 / 0.33 = 389.9 g, less 131.3 g leaves 258.6 g of water.
    recipe = formula(fats=(share(OLIVE, "1"),), alkali=replace(USUAL_ALKALI, naoh_purity=D("0.98")))
    batch = scale(recipe, FatTarget(KG), resolution=100 * MG)
    assert (batch.naoh_ng, batch.extra_water_ng) == (131_300 * MG, 258_600 * MG)


def test_a_masterbatch_replaces_dry_alkali_and_part_of_the_water():
    stored = replace(USUAL_ALKALI, masterbatch_strength=D("0.5"))
    recipe = formula(fats=(share(OLIVE, "1"),), alkali=stored)
    batch = scale(recipe, FatTarget(KG), resolution=100 * MG)
    # 128.676 g NaOH / 0.50 = 257.35 g, down to 257.3; 389.9 g lye - 257.3 g = 132.6 g more water
    assert (batch.naoh_ng, batch.masterbatch_ng) == (0, 257_300 * MG)
    assert abs(batch.extra_water_ng - 132_600 * MG) <= 100 * MG
    assert batch.water_ng == batch.extra_water_ng + 128_650 * MG


def test_citric_acid_is_met_by_extra_alkali():
    # citric acid anhydrous: 3 x 39.9971 / 192.1238 = 0.6246 g NaOH per g
    acid = Line(CITRIC, Basis.OF_FATS, Stage.LYE, D("0.02"))
    plain, acidic = (scale(f, FatTarget(KG), resolution=1) for f in (formula(), formula(acid)))
    assert abs(acidic.naoh_ng - plain.naoh_ng - 20 * G * 6246 // 10000) <= 2
    assert acidic.superfat == plain.superfat


# Rounding, pieces, packaging, places


def test_fixed_lines_do_not_grow():
    fixed = Line(CLAY, Basis.FIXED, Stage.TRACE, D("7.5"))
    for size in (1, 9):
        batch = scale(formula(fixed), BatterTarget(size * KG), resolution=MG)
        assert batch.lines[-1].exact_ng == 7_500 * MG
        assert abs(batch.batter_ng - size * KG) <= 10 * MG


def test_lines_of_the_batter_are_shares_of_all_of_it():
    clay = Line(CLAY, Basis.OF_BATTER, Stage.TRACE, D("0.10"))
    batch = scale(formula(clay), FatTarget(KG), resolution=1)
    assert abs(batch.lines[-1].rounded_ng * 10 - batch.batter_ng) <= 20


def test_every_bar_gets_its_wrap():
    half_sheet = Line(WRAP, Basis.PER_BAR, Stage.PACK, D("0.5"))
    assert scale(formula(half_sheet), BarsTarget(9, 100 * G)).lines[-1].pieces == 5
    unknown = scale(formula(half_sheet), FatTarget(KG))
    assert unknown.lines[-1].pieces == 0
    assert "bars-unknown" in codes(unknown)


def test_toppings_are_outside_the_batter():
    top = Line(CLAY, Basis.FIXED, Stage.TOP, D(20))
    plain, topped = (scale(f, FatTarget(KG)) for f in (formula(), formula(top)))
    assert topped.batter_ng == plain.batter_ng
    assert topped.lines[-1].rounded_ng == 20 * G


def test_cure_takes_its_share():
    batch = scale(formula(cure_loss_share=D("0.12")), FatTarget(KG))
    assert batch.finished_ng == batch.batter_ng * 88 // 100


def test_pieces_for_the_batch_are_as_many_whatever_its_size():
    for kilograms in (1, 7):
        batch = scale(formula(Line(EGG, Basis.FIXED, Stage.TRACE, D(2))), FatTarget(kilograms * KG))
        assert (batch.lines[-1].pieces, batch.lines[-1].rounded_ng) == (2, 100 * G)


def test_fat_beside_the_fats_is_extra_superfat_and_takes_no_alkali():
    late = Line(OLIVE, Basis.OF_FATS, Stage.TRACE, D("0.03"))
    plain, with_it = (scale(f, FatTarget(KG)) for f in (formula(), formula(late)))
    assert with_it.extra_superfat == D("0.03") and plain.extra_superfat == 0
    assert (with_it.naoh_ng, with_it.fats_ng) == (plain.naoh_ng, plain.fats_ng)


def test_a_missing_density_is_assumed_and_said():
    bare = replace(OLIVE, density_g_ml=None)
    assert "density-assumed" in codes(scale(formula(fats=(share(bare, "1"),)), FatTarget(KG)))


# Lots


def test_lye_follows_the_lots_own_values():
    nominal = scale(formula(), FatTarget(KG), resolution=1)
    low = {
        position: Span.exactly(line.line.ingredient.sv_low)
        for position, line in enumerate(nominal.lines)
    }
    real = set_lye_on_lots(nominal, saponification_values=low, resolution=1)
    assert abs(real.superfat - D("0.05")) <= D("0.000001")
    assert real.worst_superfat == real.superfat
    assert real.naoh_ng < nominal.naoh_ng
    assert [line.rounded_ng for line in real.lines] == [line.rounded_ng for line in nominal.lines]


def test_a_certificate_outside_the_materials_range_is_noticed():
    nominal = scale(formula(), FatTarget(KG))
    slip = set_lye_on_lots(nominal, saponification_values={0: Span.exactly(D(296))})
    assert "saponification-value-outside-range" in codes(slip)


def test_lye_follows_the_purity_of_the_lot():
    pure = scale(formula(), FatTarget(KG), resolution=1)
    poor = replace(USUAL_ALKALI, naoh_purity=D("0.97"))
    real = set_lye_on_lots(pure, saponification_values={}, alkali=poor, resolution=1)
    assert abs(real.naoh_ng * D("0.97") - pure.naoh_ng) <= 1
    assert real.formula.alkali == poor


# Refusals


@pytest.mark.parametrize(
    ("target", "settings", "field"),
    [
        (FatTarget(0), {}, "fats_ng"),
        (FatTarget(-KG), {}, "fats_ng"),
        (BatterTarget(10**17), {}, "batter_ng"),
        (VolumeTarget(LITER_NL, D("-0.1")), {}, "overfill_share"),
        (BarsTarget(0, 100 * G), {}, "bars"),
        (FatTarget(KG), {"resolution": 0}, "resolution"),
        (FatTarget(KG), {"bars": -1}, "bars"),
        (FatTarget(G), {"resolution": 10 * G}, "resolution"),
    ],
)
def test_impossible_requests_are_refused(target, settings, field):
    with pytest.raises(ScalingRefusal) as refused:
        scale(formula(), target, **settings)
    assert field in {fault.field for fault in refused.value.faults}


def test_fixed_lines_may_leave_no_room():
    fixed = Line(CLAY, Basis.FIXED, Stage.TRACE, D(2000))
    with pytest.raises(ScalingRefusal, match="no room"):
        scale(formula(fixed), BatterTarget(KG))


def test_milk_that_is_all_the_water_and_more_is_refused():
    milk = Line(MILK, Basis.OF_FATS, Stage.LYE, D("0.5"), counts_as_water=True)
    with pytest.raises(ScalingRefusal, match="lower lye"):
        scale(formula(milk), FatTarget(KG))


@pytest.mark.parametrize(
    ("stage", "share_of_fats", "refusal"),
    [
        # 208.575 mg KOH/g x 0.95 / 1.40274 = 141.26 g NaOH, with 286.80 g of water in lye of 33 %.
        # Dissolved to 50.5 % it needs 138.46 g, so 148.3 g may come late: 170.4 g of milk.
        (Stage.TRACE, "0.170", None),
        (Stage.TRACE, "0.171", "dissolve"),
        (Stage.FATS, "0.171", "dissolve"),
        (Stage.LYE, "0.171", None),
        (Stage.LYE, "0.329", None),
        (Stage.LYE, "0.330", "lower lye"),
    ],
)
def test_milk_dissolves_the_alkali_only_where_it_goes_into_the_lye(stage, share_of_fats, refusal):
    recipe = formula(Line(MILK, Basis.OF_FATS, stage, D(share_of_fats), counts_as_water=True))
    if refusal is None:
        batch = scale(recipe, FatTarget(KG), resolution=1)
        assert abs(batch.water_ng - 286_800 * MG) <= 10 * MG
        return
    with pytest.raises(ScalingRefusal, match=refusal):
        scale(recipe, FatTarget(KG), resolution=1)


def test_milk_in_the_lye_dissolves_alkali_also_where_its_water_does_not_count():
    late = Line(MILK, Basis.OF_FATS, Stage.TRACE, D("0.171"), counts_as_water=True)
    beside = Line(MILK, Basis.OF_FATS, Stage.LYE, D("0.01"))
    assert scale(formula(late, beside), FatTarget(KG), resolution=1).superfat >= 0


def test_an_invalid_formula_is_never_scaled():
    with pytest.raises(FormulaRefusal):
        scale(formula(share(OLIVE, "0.1")), FatTarget(KG))


@pytest.mark.parametrize("temperature", [-5, 101, "1E+400", "Infinity", "NaN"])
def test_pouring_outside_the_density_table_is_refused(temperature):
    with pytest.raises(OutsideTable):
        scale(formula(), FatTarget(KG), pour_temperature_c=D(temperature))
