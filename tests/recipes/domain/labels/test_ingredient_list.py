"""Labels list by mass what went in or what results; nothing is lost on the way."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.chemistry.soap_made import Gives, soap_names
from recipes.domain.labels.ingredient_list import (
    FREE_ORDER_BELOW,
    MILLION,
    US,
    Ingoing,
    Role,
    list_added,
    list_results,
)
from recipes.errors import FormulaRefusal, LyeHeavy

G = 10**9
OLIVE, COCONUT = "Olea Europaea Fruit Oil", "Cocos Nucifera Oil"


def fat(name, grams, sv):
    return Ingoing(name=name, mass_ng=round(grams * G), role=Role.FAT, sv_mg_koh_g=D(sv))


def alkali(grams, kind="NaOH", **more):
    return Ingoing(name=kind, mass_ng=round(grams * G), role=Role.ALKALI, alkali=kind, **more)


def other(name, grams, role=Role.OTHER, **more):
    return Ingoing(name=name, mass_ng=round(grams * G), role=role, **more)


# A worked label with molar masses made round. Two invented fats: 1000 g of "olive" that takes 3 mol
# of alkali (168.317 mg KOH/g = 3 x 56.1056 g over 1000 g) and 500 g of "coconut" that takes 3 mol
# (336.634). Superfat 10 %: 5.4 mol NaOH = 5.4 x 39.9971 = 215.984 g. Reacted by hand:
#   olive    900 g + 2.7 mol NaOH 107.992 g - 0.9 mol glycerol 82.885 g = 925.108 g sodium olivate
#   coconut  450 g + 2.7 mol NaOH 107.992 g - 0.9 mol glycerol 82.885 g = 475.108 g sodium cocoate
#   glycerin 1.8 mol x 92.094 = 165.769 g;  left: olive 100 g, coconut 50 g
# Water 400 g, of which 216 g dry off: 184 g. Fragrance 30 g, lactate 10 g, colorants 25 g and 5 g.
WORKED = (
    other("Indigo", 25, Role.COLORANT),
    fat(COCONUT, 500, "336.634"),
    fat(OLIVE, 1000, "168.317"),
    alkali(215.98434),
    other("Sodium Lactate", 10),
    other("distilled", 250, Role.WATER),
    other("spring", 150, Role.WATER),
    other("Orchard scent", 30, Role.FRAGRANCE),
    other("Chalk", 5, Role.COLORANT),
)


def test_the_worked_label_of_what_results():
    made = list_results(WORKED, dried_ng=216 * G)
    assert made.names == (
        "Sodium Olivate",
        "Sodium Cocoate",
        "Aqua",
        "Glycerin",
        OLIVE,
        COCONUT,
        "Parfum",
        "Sodium Lactate",
        "Indigo",
        "Chalk",
    )
    grams = {item.name: item.mass_ng / G for item in made.items}
    by_hand = {
        "Sodium Olivate": 925.108,
        "Sodium Cocoate": 475.108,
        "Glycerin": 165.769,
        "Aqua": 184,
        OLIVE: 100,
        COCONUT: 50,
    }
    for name, mass in by_hand.items():
        assert grams[name] == pytest.approx(mass, abs=0.005)
    # 10 g of 1969.985 g are under 1 %; 30 g (1.5 %) are not
    free = {item.name for item in made.items if item.order_is_free}
    assert free == {"Sodium Lactate", "Indigo", "Chalk"}


def test_the_worked_label_of_what_went_in():
    assert list_added(WORKED).names == (
        OLIVE,
        COCONUT,
        "Aqua",
        "Sodium Hydroxide",
        "Parfum",
        "Sodium Lactate",
        "Indigo",
        "Chalk",
    )
    assert list_added(WORKED, wording=US).names[2:5] == ("Water", "Sodium Hydroxide", "Fragrance")


masses = st.integers(1, 2 * 10**12)
names = st.sampled_from(["Kaolin", "Mel", "Sodium Lactate", "Maris Sal"])
others = st.lists(
    st.builds(
        Ingoing,
        name=names,
        mass_ng=masses,
        role=st.sampled_from([Role.OTHER, Role.WATER, Role.FRAGRANCE, Role.COLORANT]),
    ),
    max_size=8,
)


@st.composite
def soaps(draw):
    """Fats, an acid, and alkali of both kinds that leaves a superfat of 0 to 30 %."""
    fats = [
        fat(
            draw(st.sampled_from([OLIVE, COCONUT, "Stearic Acid", "Cera Alba", "Unheard Oil"])),
            1,
            sv,
        )
        for sv in draw(st.lists(st.integers(80, 350), min_size=1, max_size=5))
    ]
    fats = [Ingoing(**{**vars_of(one), "mass_ng": draw(st.integers(G, 2000 * G))}) for one in fats]
    acid = Ingoing(
        name="Citric Acid",
        mass_ng=draw(st.integers(0, 20 * G)),
        role=Role.ACID,
        naoh_g_per_g=D("0.6246"),
        water_share=draw(st.sampled_from([D(0), D("0.2")])),
    )
    demand = sum(one.mass_ng * one.sv_mg_koh_g for one in fats) / 1000 / D("56.1056")
    moles = demand * D(draw(st.integers(700, 1000))) / 1000
    moles += acid.mass_ng * acid.naoh_g_per_g / D("39.9971")
    share = D(draw(st.integers(0, 100))) / 100
    purity = draw(st.sampled_from([D(1), D("0.97"), D("0.5")]))
    lye = [
        alkali(0, "NaOH", purity=purity, is_solution=purity == D("0.5")),
        alkali(0, "KOH", purity=D("0.9")),
    ]
    exact = (moles * (1 - share) * D("39.9971") / purity, moles * share * D("56.1056") / D("0.9"))
    lye = [
        Ingoing(**{**vars_of(one), "mass_ng": int(mass)})
        for one, mass in zip(lye, exact, strict=True)
    ]
    return [*fats, acid, *lye, *draw(others)]


def vars_of(one):
    return {name: getattr(one, name) for name in one.__dataclass_fields__}


@given(soaps(), st.integers(0, 10**12))
def test_what_results_weighs_what_went_in(ingoing, dried):
    """Fats + alkali + water + rest = salts + glycerin + water + fat left + rest + dried off."""
    made = list_results(ingoing, dried_ng=dried)
    out = sum(item.mass_ng for item in made.items) + made.evaporated_ng + made.impurities_ng
    assert abs(out - sum(one.mass_ng for one in ingoing)) <= len(made.items) + 4
    assert made.in_ng == sum(one.mass_ng for one in ingoing)
    assert 0 <= made.superfat <= D("0.31")
    assert made.evaporated_ng <= dried


@given(soaps())
def test_what_went_in_is_listed_whole(ingoing):
    made = list_added(ingoing)
    assert sum(item.mass_ng for item in made.items) == sum(one.mass_ng for one in ingoing)


@given(soaps(), st.booleans())
def test_lists_descend_hold_each_name_once_and_sum_to_one(ingoing, added):
    made = list_added(ingoing) if added else list_results(ingoing, dried_ng=G)
    assert len(set(made.names)) == len(made.names)
    assert sum(item.millionths for item in made.items) == MILLION
    before, colors = (
        [item.mass_ng for item in made.items if item.is_colorant is kind] for kind in (False, True)
    )
    assert before == sorted(before, reverse=True)
    assert [item.mass_ng for item in made.items] == before + colors
    for item in made.items:
        assert item.order_is_free or item.millionths >= FREE_ORDER_BELOW


@given(soaps())
def test_every_material_is_found_in_both_lists(ingoing):
    kept = {
        {Role.WATER: "Aqua", Role.FRAGRANCE: "Parfum"}.get(one.role, one.name)
        for one in ingoing
        if one.mass_ng and one.role in (Role.WATER, Role.FRAGRANCE, Role.COLORANT, Role.OTHER)
    }
    assert kept <= set(list_added(ingoing).names)
    assert kept - {"Aqua"} <= set(list_results(ingoing).names)
    soaps_made = {
        name
        for one in ingoing
        if one.role is Role.FAT
        for name in (soap_names(one.name).sodium, soap_names(one.name).potassium)
    }
    assert set(list_results(ingoing).names) & soaps_made


def test_potassium_and_sodium_are_listed_apart():
    mixed = [fat(OLIVE, 1000, "168.317"), alkali(39.9971), alkali(112.2112, "KOH")]
    made = {item.name: item.mass_ng / G for item in list_results(mixed).items}
    # 1 of 3 mol is sodium: a third of 1000 g less a third of the glycerol, with its own alkali
    assert made["Sodium Olivate"] == pytest.approx((1000 - 92.094) / 3 + 39.9971, abs=0.01)
    assert made["Potassium Olivate"] == pytest.approx((1000 - 92.094) * 2 / 3 + 112.2112, abs=0.01)


def test_acids_become_salts_and_water():
    # citric acid 192.1238 g takes 3 mol NaOH = 119.9913 g; 3 mol water come off: 258.069 g citrate
    ingoing = [
        fat(OLIVE, 1000, "168.317"),
        alkali(119.9913 + 119.9913),
        Ingoing(
            name="Citric Acid",
            mass_ng=192_123_800_000,
            role=Role.ACID,
            naoh_g_per_g=D(3) * D("39.9971") / D("192.1238"),
        ),
    ]
    made = {item.name: item.mass_ng / G for item in list_results(ingoing).items}
    assert made["Sodium Citrate"] == pytest.approx(258.069, abs=0.01)
    assert made["Aqua"] == pytest.approx(54.046, abs=0.01)


def test_more_alkali_than_fat_takes_is_refused():
    with pytest.raises(LyeHeavy):
        list_results([fat(OLIVE, 100, "190"), alkali(20)])


def test_acid_that_eats_all_the_lye_is_refused():
    acid = Ingoing(name="Citric Acid", mass_ng=90 * G, role=Role.ACID, naoh_g_per_g=D("0.6246"))
    with pytest.raises(FormulaRefusal):
        list_results([fat(OLIVE, 100, "190"), alkali(5), acid])


def test_what_comes_along_with_an_infusion_is_named_once_at_the_end():
    infused = Ingoing(
        name=OLIVE,
        mass_ng=1000 * G,
        role=Role.FAT,
        sv_mg_koh_g=D(190),
        beside=("Calendula Officinalis Flower Extract",),
    )
    for made in (list_added([infused, alkali(100)]), list_results([infused, alkali(100)])):
        assert made.names.count("Calendula Officinalis Flower Extract") == 1
        assert made.names[-1] == "Calendula Officinalis Flower Extract"


@pytest.mark.parametrize(
    ("name", "sodium"),
    [
        ("Cocos Nucifera (Coconut) Oil", "Sodium Cocoate"),
        ("OLEA EUROPAEA FRUIT OIL", "Sodium Olivate"),
        ("Adeps Bovis", "Sodium Tallowate"),
        ("Unheard Oil", "Saponified Unheard Oil"),
    ],
)
def test_names_of_soaps(name, sodium):
    assert soap_names(name).sodium == sodium
    assert soap_names(name).known == (not sodium.startswith("Saponified"))


def test_unknown_names_are_told_and_never_made_up():
    made = list_results([fat("Unheard Oil", 100, "190"), alkali(10)])
    assert made.unpublished == ("Unheard Oil",)
    assert soap_names("Odd Acid", gives=Gives.WATER).sodium == "Neutralized Odd Acid"
