"""The lye step in words: alkali always goes into the liquid. Common practice, no source."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.lye_steps import LyeToMix, lye_steps

G = 10**9
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
