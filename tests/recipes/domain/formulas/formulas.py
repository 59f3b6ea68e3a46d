"""Ingredients and formulas for the tests of the domain, and the strategies that draw them."""

from decimal import Decimal as D
from itertools import pairwise

from hypothesis import strategies as st

from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.formulas.formula import Alkali, Basis, Formula, Ingredient, Line, Stage

G = 10**9
KG = 1000 * G


def fat(name, low, high, density="0.913", at="20", **more):
    """A fat at the middle of its saponification range."""
    low, high = D(low), D(high)
    return Ingredient(
        code=name,
        name=name,
        kind=MaterialKind.FAT,
        sv_mg_koh_g=(low + high) / 2,
        sv_low=low,
        sv_high=high,
        density_g_ml=D(density),
        density_temperature_c=D(at),
        **more,
    )


# Saponification ranges: CXS 33-1981 (olive, from memory), CXS 210-1999 (coconut, palm), BP 1993
# (castor). Densities: middle of the same standards' relative densities x water at 20 °C.
OLIVE = fat("olive", 184, 196, "0.911", "20")
COCONUT = fat("coconut", 248, 265, "0.913", "40")
PALM = fat("palm", 190, 209, "0.893", "50")
CASTOR = fat("castor", 176, 187, "0.957", "20")

# Water and fat: USDA National Nutrient Database (whole raw egg; sodium lactate is a 60 % solution);
# a large egg holds 50 g.
EGG = Ingredient(
    "egg",
    "whole egg",
    MaterialKind.LIQUID,
    counted=True,
    water_share=D("0.7615"),
    fat_share=D("0.0951"),
    density_g_ml=D("1.027"),
    piece_mass_ng=50 * G,
)
MILK = Ingredient(
    "milk",
    "goat milk",
    MaterialKind.LIQUID,
    water_share=D("0.8703"),
    fat_share=D("0.0414"),
    density_g_ml=D("1.031"),
)
CITRIC = Ingredient("citric", "citric acid", MaterialKind.ACID, acid_naoh_g_per_g=D("0.6246"))
CLAY = Ingredient("clay", "clay", MaterialKind.COLORANT, density_g_ml=D("2.5"))
SCENT = Ingredient(
    "scent",
    "invented scent",
    MaterialKind.FRAGRANCE,
    density_g_ml=D("0.98"),
    ifra_category9_max_share=D("0.05"),
)
WRAP = Ingredient("wrap", "wrap", MaterialKind.PACKAGING, counted=True)


def share(ingredient, amount):
    return Line(ingredient, Basis.SHARE_OF_FATS, Stage.FATS, D(amount))


USUAL_FATS = (
    share(OLIVE, "0.45"),
    share(COCONUT, "0.25"),
    share(PALM, "0.25"),
    share(CASTOR, "0.05"),
)
USUAL_ALKALI = Alkali(superfat=D("0.05"), lye_concentration=D("0.33"))


def formula(*extra, fats=USUAL_FATS, alkali=USUAL_ALKALI, **settings):
    return Formula(lines=(*fats, *extra), alkali=alkali, **settings)


@st.composite
def fat_lines(draw):
    """One to five fats whose shares sum to exactly 1."""
    cuts = draw(st.lists(st.integers(1, 999), max_size=4, unique=True))
    edges = [0, *sorted(cuts), 1000]
    lines = []
    for number, (start, end) in enumerate(pairwise(edges)):
        low = draw(st.integers(175, 250))
        spread = draw(st.integers(0, 20))
        lines.append(share(fat(f"fat {number}", low, low + spread), D(end - start) / 1000))
    return tuple(lines)


thousandths = lambda low, high: st.integers(low, high).map(lambda n: D(n) / 1000)  # noqa: E731

alkalis = st.builds(
    Alkali,
    superfat=thousandths(0, 200),
    lye_concentration=thousandths(250, 450),
    koh_share=thousandths(0, 1000),
    naoh_purity=thousandths(950, 1000),
    koh_purity=thousandths(850, 1000),
)

growing_lines = st.lists(
    st.one_of(
        st.builds(
            Line, st.just(CITRIC), st.just(Basis.OF_FATS), st.just(Stage.LYE), thousandths(1, 30)
        ),
        st.builds(
            Line, st.just(SCENT), st.just(Basis.OF_FATS), st.just(Stage.TRACE), thousandths(1, 40)
        ),
        st.builds(
            Line,
            st.just(MILK),
            st.just(Basis.OF_FATS),
            st.just(Stage.LYE),
            thousandths(1, 30),
            st.booleans(),
        ),
        st.builds(
            Line, st.just(CLAY), st.just(Basis.OF_BATTER), st.just(Stage.TRACE), thousandths(1, 20)
        ),
        st.builds(
            Line,
            st.just(CLAY),
            st.just(Basis.G_PER_KG_FATS),
            st.just(Stage.TRACE),
            st.integers(1, 30).map(D),
        ),
    ),
    max_size=3,
).map(tuple)

growing_formulas = st.builds(
    lambda fats, extra, alkali, pot: Formula((*fats, *extra), alkali, pot_loss_share=pot),
    fat_lines(),
    growing_lines,
    alkalis,
    thousandths(0, 50),
)
"""Formulas all of whose lines grow with the batch: what scales in a straight line."""
