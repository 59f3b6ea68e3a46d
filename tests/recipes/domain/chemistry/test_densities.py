"""Densities against tables that are independent of the ones shipped."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.chemistry.densities import fat_density_g_ml, lye_density_g_ml
from recipes.errors import OutsideTable
from tests.recipes.domain.formulas.formulas import thousandths

# Density of NaOH solutions by molality (mol per kg of water; here its percent by mass) at
# 10, 25, 40, 55, 70, 85 °C: https://advancedthermo.com/electrolytes/density_NaOH.html
NAOH_AT = (10, 25, 40, 55, 70, 85)
NAOH_TABLE = {
    "1.961": (1.02222, 1.01860, 1.01322, 1.00639, 0.99832, 0.98913),
    "3.846": (1.04340, 1.03911, 1.03323, 1.02610, 1.01790, 1.00878),
    "7.407": (1.08315, 1.07787, 1.07114, 1.06343, 1.05503, 1.04609),
    "10.714": (1.12001, 1.11402, 1.10659, 1.09840, 1.08980, 1.08098),
    "13.792": (1.15437, 1.14776, 1.13980, 1.13124, 1.12243, 1.11357),
    "16.666": (1.18652, 1.17925, 1.17093, 1.16212, 1.15308, 1.14397),
    "19.354": (1.21677, 1.20866, 1.20013, 1.19121, 1.18192, 1.17227),
}
# Density of KOH solutions at 18 °C: physics laboratory table,
# http://www.fizyka.pk.edu.pl/tabele/GesRoztw.htm
KOH_AT_18 = {
    5: 1.045,
    10: 1.091,
    15: 1.139,
    20: 1.188,
    25: 1.238,
    30: 1.290,
    35: 1.344,
    40: 1.400,
}

shares = thousandths(0, 500)
warmth = st.integers(5, 90).map(D)


def naoh(percent, at):
    return lye_density_g_ml(naoh_share=D(percent) / 100, koh_share=D(0), temperature_c=D(at))


def koh(percent, at):
    return lye_density_g_ml(naoh_share=D(0), koh_share=D(percent) / 100, temperature_c=D(at))


@pytest.mark.parametrize("percent", NAOH_TABLE)
def test_naoh_lye_agrees_with_an_independent_table_within_a_thousandth(percent):
    for at, density in zip(NAOH_AT, NAOH_TABLE[percent], strict=True):
        assert float(naoh(percent, at)) == pytest.approx(density, rel=0.001)


@pytest.mark.parametrize("percent", KOH_AT_18)
def test_koh_lye_agrees_with_an_independent_table_within_two_thousandths(percent):
    assert float(koh(percent, 18)) == pytest.approx(KOH_AT_18[percent], rel=0.002)


def test_a_stored_lye_of_50_percent_holds_19_07_mol_per_liter():
    # Analytical chemistry question with solution: 50 percent w/w NaOH, density 1.5253 g/mL at
    # 20 °C (International Critical Tables), molar mass taken as 40.
    assert float(naoh(50, 20)) * 1000 * 0.5 / 40 == pytest.approx(19.07, abs=0.005)


def test_published_cells_come_back_unchanged():
    # International Critical Tables vol. III p. 79, as printed in chemical engineers' handbooks.
    assert (naoh(32, 20), naoh(50, 40), naoh(1, 0)) == (D("1.3490"), D("1.5109"), D("1.0124"))


@given(shares, shares, warmth)
def test_more_alkali_is_denser(one, other, at):
    low, high = sorted((one, other))
    assert naoh(low * 100, at) <= naoh(high * 100, at)
    assert koh(low * 100, at) <= koh(high * 100, at)


@given(shares, warmth, thousandths(0, 1000))
def test_mixed_lye_lies_between_the_two_pure_ones(total, at, koh_part):
    mixed = lye_density_g_ml(
        naoh_share=total * (1 - koh_part), koh_share=total * koh_part, temperature_c=at
    )
    ends = sorted((naoh(total * 100, at), koh(total * 100, at)))
    assert ends[0] - D("1e-6") <= mixed <= ends[1] + D("1e-6")


def test_mixed_lye_is_weighted_by_the_mass_of_each_alkali():
    mixed = lye_density_g_ml(naoh_share=D("0.24"), koh_share=D("0.08"), temperature_c=D(30))
    assert mixed == pytest.approx((3 * naoh(32, 30) + koh(32, 30)) / 4, abs=D("0.000002"))


@pytest.mark.parametrize(("percent", "at"), [("50.1", 20), (33, -1), (33, 101)])
def test_nothing_is_extrapolated(percent, at):
    with pytest.raises(OutsideTable):
        naoh(percent, at)
    with pytest.raises(OutsideTable):
        koh(percent, at)


def test_a_fat_gets_lighter_by_0_0007_a_degree():
    # Textbook average between 15.5 and 98 °C.
    warm = fat_density_g_ml(density_g_ml=D("0.914"), measured_at_c=D(20), temperature_c=D(40))
    assert warm == D("0.900")
