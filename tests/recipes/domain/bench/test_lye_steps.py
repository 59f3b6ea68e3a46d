"""The lye step in words: alkali always goes into the liquid. Common practice, no source."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.bench.lye_steps import LyeToMix, lye_steps, rinse_water, tempering_steps
from recipes.domain.scales import Scales

G = 10**9
GRAMS = Scales(step_ng=G)
mass = st.sampled_from([0, 1 * G, 123_400_000_000])


def test_dry_alkali_goes_into_the_water():
    steps = lye_steps(LyeToMix(naoh_ng=140 * G, water_ng=280_500_000_000))
    assert steps == (
        "Put 280.5 g of water into a heat-proof container.",
        "Weigh 140 g of NaOH into a separate dry container.",
        "Add the alkali to the water little by little, stirring until it is dissolved; never pour"
        " liquid onto the alkali.",
        "Let the lye cool before it goes into the fats; the recipe is poured at 40 °C.",
    )


def test_stored_lye_goes_into_the_water_after_dry_alkali():
    steps = lye_steps(
        LyeToMix(koh_ng=10 * G, masterbatch_ng=200 * G, water_ng=100 * G, liquids=["Milk"])
    )
    assert steps[0] == "Put 100 g of water and Milk into a heat-proof container."
    assert "KOH" in steps[1] and "200 g of the stored lye" in steps[3]
    assert steps[3].endswith("into the water, stirring.")


lyes = st.builds(
    LyeToMix,
    naoh_ng=mass,
    koh_ng=mass,
    masterbatch_ng=mass,
    water_ng=mass,
    liquids=st.lists(st.just("Milk"), max_size=1),
    pour_temperature_c=st.decimals("5", "90", places=1),
)


@given(lyes)
def test_the_liquid_is_always_there_before_the_alkali(lye):
    steps = lye_steps(lye)
    told = Decimal(steps[-1].rpartition("at ")[2].removesuffix(" °C."))
    assert told == lye.pour_temperature_c
    if lye.water_ng or lye.liquids or lye.masterbatch_ng:
        assert steps[0].startswith(("Put ", "Weigh ")) and "heat-proof" in steps[0]
    if lye.naoh_ng or lye.koh_ng:
        assert any("never pour liquid onto the alkali" in step for step in steps)


@given(
    water=st.integers(0, 2_000).map(lambda grams: grams * G),
    dry=st.integers(0, 900).map(lambda grams: grams * G),
    stored=st.integers(0, 900).map(lambda grams: grams * G),
    share=st.none() | st.decimals(0, Decimal("0.99"), places=2),
    step=st.sampled_from([G // 10, G, 5 * G]),
)
def test_the_rinse_leaves_water_enough_for_the_alkali(water, dry, stored, share, step):
    rinse = rinse_water(
        water, share=share, dry_ng=dry, stored_ng=stored, scales=Scales(step_ng=step)
    )
    assert 0 <= rinse <= water and rinse % step == 0
    assert rinse == 0 or water - rinse >= dry
    if share is not None:
        assert rinse <= water * share


def test_a_tenth_of_the_water_beside_a_masterbatch_rinses_its_vessel():
    # Common practice, no source.
    rinse = rinse_water(300 * G, share=None, dry_ng=0, stored_ng=400 * G, scales=GRAMS)
    assert rinse == 30 * G
    assert rinse_water(300 * G, share=None, dry_ng=140 * G, stored_ng=0, scales=GRAMS) == 0
    steps = lye_steps(LyeToMix(masterbatch_ng=400 * G, water_ng=300 * G, rinse_ng=rinse))
    words = " ".join(steps)
    assert "Put 270 g of water" in words
    # The rinse goes in last, when the vessel is empty.
    assert "30 g" in steps[1] and "Rinse" in steps[-1] and "30 g" in steps[-1]


def test_protein_liquids_come_in_before_the_lye():
    # Common practice, no source.
    steps = tempering_steps(["Whole egg", "Goat milk"], temperature_c=Decimal("38.500"))
    assert "Whole egg and Goat milk" in steps[0] and "strain" in steps[0]
    assert "before any lye" in steps[1] and "38.5 °C" in steps[2]
    assert tempering_steps([], temperature_c=Decimal(40)) == ()
