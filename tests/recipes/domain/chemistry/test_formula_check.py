"""A formula with faults hears of all of them; a sound one passes."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from inventory.domain.catalog.materials import MaterialKind
from inventory.models.catalog.materials import Material
from recipes.domain.chemistry.formula_check import check_alkali, check_formula
from recipes.domain.formulas.formula import Alkali, Basis, Formula, Line, Stage
from recipes.errors import FormulaRefusal
from studio.foundation.errors import Faults
from tests.inventory.buying import impossible
from tests.recipes.domain.formulas.formulas import (
    CITRIC,
    CLAY,
    COCONUT,
    EGG,
    MILK,
    OLIVE,
    SCENT,
    USUAL_ALKALI,
    USUAL_FATS,
    WRAP,
    formula,
    growing_formulas,
    share,
)


def faults_of(checked):
    with pytest.raises(FormulaRefusal) as refused:
        check_formula(checked)
    return {(fault.code, fault.field) for fault in refused.value.faults}


@given(growing_formulas)
def test_sound_formulas_pass(sound):
    check_formula(sound)


def line(ingredient, basis=Basis.OF_FATS, stage=Stage.TRACE, amount="0.01", **more):
    return Line(ingredient, basis, stage, D(amount), **more)


@pytest.mark.parametrize(
    ("extra", "fault"),
    [
        (line(SCENT, amount="-0.01"), ("amount-not-positive", "lines.4.amount")),
        (line(SCENT, amount="0"), ("amount-not-positive", "lines.4.amount")),
        (line(SCENT, amount="NaN"), ("amount-not-positive", "lines.4.amount")),
        (line(MILK, Basis.PIECE_PER_FATS, amount="500"), ("not-counted", "lines.4.basis")),
        (line(EGG), ("counted-by-mass", "lines.4.basis")),
        (
            line(replace(EGG, piece_mass_ng=None), Basis.FIXED, amount="2"),
            ("piece-mass-missing", "lines.4.ingredient.piece_mass_ng"),
        ),
        (
            line(replace(WRAP, piece_mass_ng=1), Basis.PER_BAR),
            ("packaging-in-batter", "lines.4.stage"),
        ),
        (line(SCENT, counts_as_water=True), ("no-water-to-count", "lines.4.counts_as_water")),
        (
            line(replace(CITRIC, acid_naoh_g_per_g=None)),
            ("acid-factor-missing", "lines.4.ingredient.acid_naoh_g_per_g"),
        ),
        (
            line(replace(CITRIC, acid_naoh_g_per_g=D("62.46"))),
            ("implausible", "lines.4.ingredient.acid_naoh_g_per_g"),
        ),
        (
            line(replace(MILK, fat_share=D("0.5"))),
            ("composition-impossible", "lines.4.ingredient.water_share"),
        ),
        (
            line(replace(MILK, density_g_ml=D(0))),
            ("implausible", "lines.4.ingredient.density_g_ml"),
        ),
        (line(SCENT, amount="1E+9999"), ("amount-outside", "lines.4.amount")),
        (line(SCENT, amount="1E-9999"), ("amount-outside", "lines.4.amount")),
        (
            line(replace(MILK, water_share=D("NaN"))),
            ("composition-impossible", "lines.4.ingredient.water_share"),
        ),
        (
            line(replace(SCENT, ifra_category9_max_share=D("4.5"))),
            ("implausible", "lines.4.ingredient.ifra_category9_max_share"),
        ),
        (
            line(replace(MILK, density_temperature_c=D(-5000))),
            ("implausible", "lines.4.ingredient.density_temperature_c"),
        ),
        (line(replace(CLAY, alkali="NaOH")), ("alkali-as-line", "lines.4")),
        (line(replace(MILK, alkali="KOH"), stage=Stage.TOP), ("alkali-as-line", "lines.4")),
        (line(replace(CITRIC, kind=MaterialKind.ALKALI)), ("alkali-as-line", "lines.4")),
        (line(MILK, Basis.OF_BATTER, amount="1"), ("batter-overfull", "lines")),
        (share(COCONUT, "0.0001"), ("fats-not-whole", "lines")),
    ],
)
def test_a_faulty_line_is_named(extra, fault):
    assert faults_of(formula(extra)) == {fault}


BOUNDED = {
    "acid_naoh_g_per_g": "acid_naoh_g_per_g",
    "density_g_ml": "density_g_ml",
    "density_temperature_c": "density_temperature_c",
    "ifra_category9_max": "ifra_category9_max_share",
    "sv_mg_koh_g": "sv_mg_koh_g",
}


@given(st.sampled_from(sorted(BOUNDED)), st.decimals(-60, 410, places=6))
@example("density_g_ml", D("0.3"))
@example("density_g_ml", D("0.1"))
@example("density_temperature_c", D(280))
@example("acid_naoh_g_per_g", D(0))
def test_a_recipe_takes_each_value_that_a_material_may_have_and_no_other(name, value):
    described = Material(
        code="some",
        name="Some",
        kind=MaterialKind.FAT.value,
        **{"density_g_ml": D(1), **{name: value}},
    )
    may_be = name not in impossible(described)
    fat = replace(OLIVE, **{"density_g_ml": D(1), BOUNDED[name]: value})
    checked = formula(fats=(share(fat, "1"),))
    if may_be:
        check_formula(checked)
    else:
        assert {field for _, field in faults_of(checked)} == {f"lines.0.ingredient.{BOUNDED[name]}"}


@given(st.decimals("0.01", "1.2", places=4))
def test_lye_is_made_of_each_purity_that_an_alkali_may_have_and_no_other(purity):
    kept = impossible(Material(code="a", name="A", kind="alkali", alkali="NaOH", purity=purity))
    alkali = replace(USUAL_ALKALI, naoh_purity=purity)
    lye = Faults()
    check_alkali(alkali, lye)
    assert kept == ({"purity"} if kept else set())
    assert {fault.field for fault in lye.found} == ({"alkali.naoh_purity"} if kept else set())


@pytest.mark.parametrize(
    ("fat", "fault"),
    [
        (
            replace(OLIVE, sv_mg_koh_g=None),
            ("saponification-value-missing", "lines.0.ingredient.sv_mg_koh_g"),
        ),
        (
            # g NaOH per g instead of mg KOH per g
            replace(OLIVE, sv_mg_koh_g=D("0.135")),
            ("saponification-value-implausible", "lines.0.ingredient.sv_mg_koh_g"),
        ),
        (MILK, ("not-a-fat", "lines.0.basis")),
    ],
)
def test_a_fat_whose_lye_cannot_be_computed_is_named(fat, fault):
    assert faults_of(formula(fats=(share(fat, "1"),))) == {fault}


@pytest.mark.parametrize(
    ("settings", "field"),
    [
        ({"superfat": D("-0.001")}, "superfat"),
        ({"superfat": D("0.301")}, "superfat"),
        ({"superfat": D("NaN")}, "superfat"),
        ({"lye_concentration": D("0.15")}, "lye_concentration"),
        ({"lye_concentration": D("0.501")}, "lye_concentration"),
        ({"koh_share": D("1.01")}, "koh_share"),
        ({"naoh_purity": D("1.01")}, "naoh_purity"),
        ({"koh_purity": D(0)}, "koh_purity"),
        ({"masterbatch_strength": D("0.51")}, "masterbatch_strength"),
        ({"masterbatch_strength": D("0.50"), "koh_share": D(1)}, "masterbatch_strength"),
    ],
)
def test_a_faulty_lye_setting_is_named(settings, field):
    found = faults_of(formula(alkali=replace(USUAL_ALKALI, **settings)))
    assert {path for _, path in found} == {f"alkali.{field}"}
    faults = Faults()
    check_alkali(replace(USUAL_ALKALI, **settings), faults)
    assert {fault.field for fault in faults.found} == {f"alkali.{field}"}


def test_a_masterbatch_weaker_than_the_target_is_refused_with_the_numbers():
    weak = replace(USUAL_ALKALI, masterbatch_strength=D("0.30"))
    with pytest.raises(FormulaRefusal, match=r"holds 30 % NaOH.*asks for 33 %"):
        check_formula(formula(alkali=weak))
    check_formula(formula(alkali=replace(weak, masterbatch_strength=D("0.33"))))


@given(st.integers(151, 500).map(lambda permille: D(permille) / 1000))
@example(D("0.5"))
@example(D("0.49"))
def test_a_masterbatch_is_strong_enough_for_lye_of_just_its_strength(strength):
    """Stored lye goes in as it is, without a drop of water."""
    undiluted = replace(USUAL_ALKALI, masterbatch_strength=strength, lye_concentration=strength)
    check_formula(formula(alkali=undiluted))
    stronger = replace(undiluted, lye_concentration=strength + D("0.000001"))
    if stronger.lye_concentration <= D("0.5"):
        with pytest.raises(FormulaRefusal, match="masterbatch"):
            check_formula(formula(alkali=stronger))


def test_dry_koh_strengthens_what_a_masterbatch_reaches():
    mixed = replace(USUAL_ALKALI, masterbatch_strength=D("0.30"), koh_share=D("0.3"))
    check_formula(formula(alkali=mixed))


def test_all_faults_are_told_at_once():
    broken = Formula(
        lines=(*USUAL_FATS[:2], line(EGG), line(SCENT, amount="-1")),
        alkali=Alkali(superfat=D(-1), lye_concentration=D(2)),
        cure_loss_share=D("0.9"),
    )
    assert faults_of(broken) == {
        ("counted-by-mass", "lines.2.basis"),
        ("amount-not-positive", "lines.3.amount"),
        ("fats-not-whole", "lines"),
        ("outside-range", "alkali.superfat"),
        ("lye-concentration-outside", "alkali.lye_concentration"),
        ("outside-range", "cure_loss_share"),
    }


def test_no_lines_at_all_is_refused():
    assert faults_of(Formula((), USUAL_ALKALI)) == {("fats-not-whole", "lines")}


@pytest.mark.parametrize(
    ("checked", "code"),
    [
        (
            formula(alkali=replace(USUAL_ALKALI, lye_concentration=D("0.45"))),
            "unusual-lye-concentration",
        ),
        (formula(alkali=replace(USUAL_ALKALI, superfat=D("0.25"))), "unusual-superfat"),
        (formula(line(SCENT, stage=Stage.PORTION)), "portion-without-name"),
        (
            formula(fats=(share(replace(OLIVE, sv_mg_koh_g=D(200)), "1"),)),
            "saponification-value-outside-range",
        ),
    ],
)
def test_what_is_only_unusual_is_noticed(checked, code):
    assert [notice.code for notice in check_formula(checked)] == [code]


def test_a_usual_formula_is_passed_without_notices():
    assert check_formula(formula(line(SCENT))) == ()
