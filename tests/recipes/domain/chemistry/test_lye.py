"""Alkali arithmetic against stoichiometry, published examples, and its own inverse."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.catalog.alkalis import KOH_G_PER_MOL, KOH_PER_NAOH, NAOH_G_PER_MOL
from recipes.domain.chemistry import lye
from recipes.domain.chemistry.lye_plan import AlkaliWeights, demand_of, plan_lye
from recipes.domain.scales import Scales
from recipes.errors import FormulaRefusal, LyeHeavy, ScalingRefusal
from tests.recipes.domain.formulas.formulas import USUAL_ALKALI, G, alkalis, thousandths

masses = st.integers(10 * G, 10_000 * G)
values = st.decimals("90", "360", places=3)
fats = st.lists(st.tuples(masses, values), min_size=1, max_size=6)


def close(value, expected, tolerance):
    return abs(D(value) - D(str(expected))) <= D(str(tolerance))


# Properties


@given(fats, thousandths(0, 300), masses, thousandths(0, 1000))
def test_resulting_superfat_is_the_inverse_of_the_demand(fats, superfat, acid, koh_share):
    demand = lye.koh_demand(fats)
    alkali = lye.pure_alkali(
        demand_koh=demand, superfat=superfat, acid_naoh=D(acid), koh_share=koh_share
    )
    found = lye.resulting_superfat(demand_koh=demand, acid_naoh=D(acid), alkali=alkali)
    assert close(found, superfat, D("1e-18"))


@given(fats, thousandths(0, 150), thousandths(1, 150), thousandths(0, 1000))
def test_more_superfat_takes_less_alkali(fats, superfat, more, koh_share):
    demand = lye.koh_demand(fats)
    lean, rich = (
        lye.pure_alkali(demand_koh=demand, superfat=s, acid_naoh=D(0), koh_share=koh_share)
        for s in (superfat, superfat + more)
    )
    assert rich.mass < lean.mass


@given(fats, thousandths(0, 300), masses)
def test_acids_get_no_superfat_discount(fats, superfat, acid):
    demand = lye.koh_demand(fats)
    without, with_acid = (
        lye.pure_alkali(demand_koh=demand, superfat=superfat, acid_naoh=D(a), koh_share=D(0))
        for a in (0, acid)
    )
    assert close(with_acid.naoh - without.naoh, acid, D("1e-6"))


@given(fats, alkalis)
def test_the_lye_has_the_concentration_that_was_asked_for(fats, alkali):
    plan = plan_lye(alkali, demand_of(fats))
    weighed = plan.weights.total_ng + plan.extra_water_ng
    assert close(plan.pure.mass / weighed, alkali.lye_concentration, D("1e-8"))
    assert plan.concentration == plan.pure.mass / weighed


@given(fats, alkalis, st.sampled_from([1, G // 100, G, 5 * G]))
def test_rounding_to_the_scale_never_makes_it_lye_heavy(fats, alkali, step):
    try:
        plan = plan_lye(alkali, demand_of(fats), scales=Scales(step_ng=step))
    except ScalingRefusal as refusal:  # the scale cannot weigh so little alkali
        assert refusal.faults[0].field in {"resolution", "alkali.lye_concentration"}
        return
    assert plan.superfat >= 0
    assert all(mass % step == 0 for mass in (plan.weights.naoh_ng, plan.weights.koh_ng))


@given(fats, thousandths(300, 500), thousandths(150, 300), thousandths(0, 200))
def test_masterbatch_and_dry_alkali_give_the_same_lye(fats, strength, target, superfat):
    dry = replace(USUAL_ALKALI, superfat=superfat, lye_concentration=target)
    stored = replace(dry, masterbatch_strength=strength)
    from_dry, from_stored = (plan_lye(a, demand_of(fats)) for a in (dry, stored))
    assert close(from_stored.pure.naoh, from_dry.pure.naoh, 2)
    assert abs(from_stored.water_ng - from_dry.water_ng) <= 8
    assert abs(from_stored.total_ng - from_dry.total_ng) <= 8


# Stoichiometry and publications


def test_a_gram_of_naoh_does_the_work_of_1_40274_g_of_koh():
    # Ratio of the molar masses 56.1056 / 39.9971 from the standard atomic weights.
    assert round(KOH_PER_NAOH, 5) == D("1.40274")


def test_tallow_of_molar_mass_890_takes_13_483_kg_naoh_per_100_kg():
    # Stoichiometry (chemical engineering textbook), Example 4.7, p. 123: saponification of tallow
    # (arithmetic of the companion code corrected; NaOH taken there as 40).
    # Three ester bonds of a molecule take three of alkali.
    value = 3 * KOH_G_PER_MOL * 1000 / 890
    alkali = lye.pure_alkali(
        demand_koh=lye.koh_demand([(D(100), value)]),
        superfat=D(0),
        acid_naoh=D(0),
        koh_share=D(0),
    )
    assert close(alkali.naoh, "13.483", "0.001")


@pytest.mark.parametrize(
    ("acid", "factor"),
    [
        ("citric_anhydrous", "0.6246"),
        ("citric_monohydrate", "0.5710"),
        ("lactic", "0.4440"),
        ("acetic", "0.6660"),
        ("sodium_lactate", "0"),
    ],
)
def test_acids_take_what_their_molar_mass_says(acid, factor):
    # Protons x 39.9971 / molar mass, standard atomic weights.
    assert round(lye.acid_factors()[acid], 4) == D(factor)


def test_citric_acid_titrated_with_naoh_comes_out_as_published():
    # General chemistry exercise with solution: citric acid in a powdered drink, question 37553:
    # 20.3 mL of 0.113 mol/L NaOH neutralize 0.147 g of citric acid.
    naoh_g = D("20.3") * D("0.113") * NAOH_G_PER_MOL / 1000
    assert close(naoh_g / lye.acid_factors()["citric_anhydrous"], "0.147", "0.0005")


# Refusals


def test_dry_alkali_is_never_left_to_dissolve_above_50_percent():
    demand = demand_of([(1000 * G, D(190))])
    plain = plan_lye(USUAL_ALKALI, demand)
    late = plain.extra_water_ng * 3 // 4
    with pytest.raises(ScalingRefusal, match="dissolve"):
        plan_lye(USUAL_ALKALI, demand, counted_water_ng=late)
    in_the_lye = plan_lye(USUAL_ALKALI, demand, counted_water_ng=late, dissolving_water_ng=late)
    assert in_the_lye.water_ng == plain.water_ng


def hundred_grams_of_naoh(**more):
    """Without superfat, for 100 g of NaOH; lye of 40 %, so 150 g of water where it is pure."""
    alkali = replace(USUAL_ALKALI, superfat=D(0), lye_concentration=D("0.4"), **more)
    return alkali, demand_of([(G, KOH_PER_NAOH * 100_000)])


@pytest.mark.parametrize(
    ("purity", "counted", "late", "dissolves"),
    [
        # 100 g in 198.02 g are 50.5 %: 98.02 g of water, as much as rounding may take off 100 g.
        ("1", 60, "8.1", True),
        ("1", 60, "7.9", False),
        ("1", 52, "0.1", True),
        ("1", 51, "0", True),
        ("1", 53, "0", False),
        # What is not pure is no alkali to dissolve: 111.11 g of it with 86.91 g of water.
        ("0.9", 60, "8.1", True),
        ("0.9", 60, "7.9", False),
    ],
)
def test_half_of_the_lye_at_most_is_alkali_with_the_liquids_it_is_dissolved_in(
    purity, counted, late, dissolves
):
    """Water that goes in at trace comes too late to dissolve alkali; that of lye liquids does."""
    alkali, demand = hundred_grams_of_naoh(naoh_purity=D(purity))
    water = {"counted_water_ng": counted * G, "dissolving_water_ng": int(D(late) * G)}
    if dissolves:
        assert abs(plan_lye(alkali, demand, **water).total_ng - 250 * G) <= 3
        return
    with pytest.raises(ScalingRefusal, match="dissolve") as refused:
        plan_lye(alkali, demand, **water)
    assert refused.value.faults[0].field == "alkali.lye_concentration"


def test_liquids_that_bring_too_much_water_are_refused_with_the_numbers():
    demand = demand_of([(1000 * G, D(190))])
    # 190 g KOH x 0.95 / 1.40274 = 128.68 g NaOH; 128.68 / 0.33 - 128.68 = 261.25 g water.
    with pytest.raises(ScalingRefusal, match=r"bring 300 g .* room for 261\.3 g"):
        plan_lye(USUAL_ALKALI, demand, counted_water_ng=300 * G, dissolving_water_ng=300 * G)


def test_alkali_alone_is_refused():
    with pytest.raises(FormulaRefusal):
        plan_lye(USUAL_ALKALI, demand_of([]))


def test_an_alkali_of_which_its_scale_shows_nothing_is_refused_and_named():
    # 10 g of olive oil take 1.33 g of NaOH, of which a hundredth is KOH.
    mixed = replace(USUAL_ALKALI, koh_share=D("0.01"))
    with pytest.raises(ScalingRefusal, match="weighs its KOH") as refused:
        plan_lye(mixed, demand_of([(10 * G, D(190))]), scales=Scales(step_ng=G))
    assert refused.value.faults[0].field == "resolution"


def test_a_negative_superfat_is_refused_even_where_the_formula_check_was_passed_by():
    with pytest.raises(LyeHeavy):
        plan_lye(replace(USUAL_ALKALI, superfat=D("-0.01")), demand_of([(G, D(190))]))


def test_pure_alkali_counts_purity_and_strength():
    alkali = replace(
        USUAL_ALKALI,
        naoh_purity=D("0.98"),
        koh_purity=D("0.9"),
        masterbatch_strength=D("0.5"),
    )
    pure = AlkaliWeights(naoh_ng=100, koh_ng=100, masterbatch_ng=100).pure(alkali)
    assert (pure.naoh, pure.koh) == (148, 90)


def test_koh_beside_a_stored_lye_must_dissolve_in_the_plain_water():
    """Its own container counts: 100 g of KOH do not dissolve in 4 g of water."""
    # Lye of 40 % brings more water than lye of 50 % has room for, and leaves the KOH next to none.
    stored = replace(USUAL_ALKALI, masterbatch_strength=D("0.4"), koh_share=D("0.4"))
    demand = demand_of([(1000 * G, D(190))])
    plan_lye(replace(stored, lye_concentration=D("0.33")), demand)
    strong = replace(stored, lye_concentration=D("0.5"))
    with pytest.raises(ScalingRefusal, match="dissolve"):
        plan_lye(strong, demand)
    plan_lye(strong, demand, dissolving_water_ng=100 * G)
