"""Lye for fats and acids without a formula: by hand, and what is refused."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.chemistry.lye import acid_factors
from recipes.domain.formulas.formula import Alkali
from recipes.domain.scaling.lye_alone import AcidMass, FatMass, lye_alone
from recipes.errors import FormulaRefusal, ScalingRefusal

G = 10**9
MG = 10**6
#: CXS 33-1981 (from memory): olive oil has 184 to 196 mg KOH/g.
OLIVE = FatMass(mass_ng=1000 * G, sv=D(190), sv_low=D(184), sv_high=D(196))
USUAL = Alkali(superfat=D("0.05"), lye_concentration=D("0.33"))


def test_a_kilogram_of_olive_oil_by_hand():
    # 1000 g x 190 mg/g x 0.95 / 1.40274 = 128.676 g NaOH, weighed down to 128.67; / 0.33 = 389.9 g.
    found = lye_alone([OLIVE], [], USUAL, step_ng=10 * MG)
    assert found.plan.weights.naoh_ng == 128_670 * MG
    assert abs(found.plan.extra_water_ng - 261_260 * MG) <= 20 * MG
    assert abs(found.superfat - D("0.05")) <= D("0.0001")
    # 180.5 g KOH of 184 and of 196 g: 1.902 % and 7.908 % are left.
    assert abs(found.superfat_worst - D("0.01902")) <= D("0.0001")
    assert abs(found.superfat_best - D("0.07908")) <= D("0.0001")
    assert found.notices == ()


def test_tallow_takes_what_the_textbook_says():
    # Stoichiometry (chemical engineering textbook), example 4.7, p. 123: 100 kg of tallow of molar
    # mass 890 take 13.483 kg of NaOH (taken there as 40 g/mol). 3 x 56.1056 / 890 = 189.12 mg/g.
    tallow = FatMass(mass_ng=100_000 * G, sv=D("189.12"), sv_low=D("189.12"), sv_high=D("189.12"))
    found = lye_alone([tallow], [], replace(USUAL, superfat=D(0)))
    assert found.plan.weights.naoh_ng / G == pytest.approx(13_483, abs=1.5)
    assert found.superfat == found.superfat_worst == found.superfat_best >= 0


def test_acids_take_their_alkali_on_top():
    # 20 g of citric acid x 0.6246 = 12.49 g NaOH (three protons, standard atomic weights).
    acid = AcidMass(20 * G, acid_factors()["citric_anhydrous"])
    plain, sour = (lye_alone([OLIVE], acids, USUAL, step_ng=MG) for acids in ([], [acid]))
    more = sour.plan.weights.naoh_ng - plain.plan.weights.naoh_ng
    assert abs(more - 12_491 * MG) <= 2 * MG
    for name in ("superfat", "superfat_worst", "superfat_best"):
        assert abs(getattr(sour, name) - getattr(plain, name)) <= D("0.00002")


def test_a_lot_at_the_low_end_may_be_lye_heavy_and_is_told():
    # 1 - 0.95 x 177.5 / 160: CXS 325R-2017 table 2, shea butter.
    shea = FatMass(mass_ng=1000 * G, sv=D("177.5"), sv_low=D(160), sv_high=D(195))
    found = lye_alone([shea], [], USUAL, step_ng=MG)
    assert abs(found.superfat_worst - D("-0.0539")) <= D("0.0001")
    (notice,) = found.notices
    assert (notice.code, notice.field) == ("lye-heavy-at-range-end", "superfat")
    # With 11 % left out, 1 - 0.89 x 177.5 / 160 = 1.27 % are left at the low end.
    assert lye_alone([shea], [], replace(USUAL, superfat=D("0.11"))).notices == ()


def test_at_the_brink_nothing_is_told():
    exact = replace(OLIVE, sv_low=D(190), sv_high=D(190))
    found = lye_alone([exact], [], replace(USUAL, superfat=D(0)), step_ng=1)
    assert 0 <= found.superfat_worst <= D("0.000001") and found.notices == ()


fats = st.builds(
    lambda mass, low, more, most: FatMass(
        mass_ng=mass * G, sv=D(low + more), sv_low=D(low), sv_high=D(low + more + most)
    ),
    st.integers(50, 5_000),
    st.integers(150, 240),
    st.integers(0, 20),
    st.integers(0, 20),
)


@given(st.lists(fats, min_size=1, max_size=5), st.integers(0, 200).map(lambda n: D(n) / 1000))
def test_the_superfat_lies_between_its_ends(fats, superfat):
    found = lye_alone(fats, [], replace(USUAL, superfat=superfat), step_ng=MG)
    assert found.superfat >= 0
    assert found.superfat_worst <= found.superfat <= found.superfat_best
    assert bool(found.notices) == (found.superfat_worst < 0)


def faults_of(fats=(OLIVE,), acids=(), alkali=USUAL, **scale):
    with pytest.raises(FormulaRefusal) as refused:
        lye_alone(fats, acids, alkali, **scale)
    return {(fault.code, fault.field) for fault in refused.value.faults}


@pytest.mark.parametrize(
    ("asked", "fault"),
    [
        ({"fats": []}, ("no-fats", "fats")),
        ({"fats": [replace(OLIVE, mass_ng=0)]}, ("mass-outside", "fats.0.mass")),
        ({"fats": [replace(OLIVE, mass_ng=10**16 + 1)]}, ("mass-outside", "fats.0.mass")),
        (
            {"fats": [OLIVE, replace(OLIVE, sv=D("0.19"), sv_low=D("0.19"))]},
            ("saponification-value-implausible", "fats.1.sv"),
        ),
        (
            {"fats": [replace(OLIVE, sv_low=D(1))]},
            ("saponification-value-implausible", "fats.0.sv_low"),
        ),
        (
            {"fats": [replace(OLIVE, sv_high=D(900))]},
            ("saponification-value-implausible", "fats.0.sv_high"),
        ),
        ({"fats": [replace(OLIVE, sv_low=D(191))]}, ("range-turned", "fats.0.sv")),
        ({"fats": [replace(OLIVE, sv_high=D(189))]}, ("range-turned", "fats.0.sv")),
        ({"acids": [AcidMass(-1, D("0.6"))]}, ("mass-outside", "acids.0.mass")),
        ({"acids": [AcidMass(G, D("9"))]}, ("implausible", "acids.0.naoh_g_per_g")),
        ({"step_ng": 0}, ("resolution-outside", "resolution")),
        ({"step_ng": 10**16 + 1}, ("resolution-outside", "resolution")),
        (
            {"alkali": replace(USUAL, masterbatch_strength=D("0.3"))},
            ("masterbatch-too-weak", "alkali.masterbatch_strength"),
        ),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(asked, fault):
    assert fault in faults_of(**asked)


def test_every_fault_is_told_at_once():
    found = faults_of(
        fats=[replace(OLIVE, mass_ng=0)],
        acids=[AcidMass(0, D(9))],
        alkali=replace(USUAL, superfat=D(2)),
        step_ng=0,
    )
    assert {field for _, field in found} == {
        "fats.0.mass",
        "acids.0.mass",
        "acids.0.naoh_g_per_g",
        "alkali.superfat",
        "resolution",
    }


def test_the_largest_mass_is_still_weighed_and_the_smallest_is_too_coarse():
    huge = replace(OLIVE, mass_ng=10**16)
    assert lye_alone([huge], [], USUAL).plan.weights.naoh_ng > 0
    with pytest.raises(ScalingRefusal, match="finer"):
        lye_alone([replace(OLIVE, mass_ng=1)], [], USUAL)
