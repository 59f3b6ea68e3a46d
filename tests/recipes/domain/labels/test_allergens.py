"""Allergens above 0.01 % of the finished soap are named, whichever lots they come from."""

from decimal import Decimal as D

from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.catalog.allergens import Allergen
from recipes.domain.labels.ingredient_list import RINSE_OFF, FragranceTake, label_allergens

G = 10**9
shares = st.decimals(D("0.0001"), D("0.2"), places=4)
takes = st.lists(
    st.builds(
        FragranceTake,
        lot=st.sampled_from(["L-1", "L-2", "L-3"]),
        mass_ng=st.integers(1, 60 * G),
        allergens=st.none()
        | st.lists(
            st.builds(Allergen, st.sampled_from(["Linalool", "Citral", "linalool"]), shares),
            max_size=3,
        ),
    ),
    max_size=5,
)


def take(grams, *allergens, lot="L-1"):
    return FragranceTake(lot=lot, mass_ng=round(grams * G), allergens=allergens)


@given(takes, st.integers(G, 2000 * G))
def test_exactly_those_above_the_threshold_are_named_once(taken, finished):
    made = label_allergens(taken, finished_ng=finished)
    total = {"linalool": D(0), "citral": D(0)}
    for one in taken:
        for allergen in one.allergens or ():
            total[allergen.name.casefold()] += one.mass_ng * allergen.share
    named = [one.name.casefold() for one in made.named]
    assert sorted(named) == sorted(k for k, mass in total.items() if mass > RINSE_OFF * finished)
    assert [one.share for one in made.named] == sorted((o.share for o in made.named), reverse=True)
    assert set(made.unstated) == {one.lot for one in taken if one.allergens is None}


def test_the_threshold_itself_is_not_above_it():
    # 1 % of 10 g is 0.1 g: 0.01 % of 1000 g, not more
    at = label_allergens([take(10, Allergen("Linalool", D("0.01")))], finished_ng=1000 * G)
    above = label_allergens([take(10, Allergen("Linalool", D("0.010001")))], finished_ng=1000 * G)
    assert at.named == ()
    assert [one.name for one in above.named] == ["Linalool"]


def test_two_lots_add_up():
    lots = [
        take(10, Allergen("Linalool", D("0.006"))),
        take(10, Allergen("Linalool", D("0.006")), lot="L-2"),
    ]
    assert [a.name for a in label_allergens(lots, finished_ng=1000 * G).named] == ["Linalool"]


def test_an_unstated_lot_is_not_a_lot_without_allergens():
    unknown = FragranceTake(lot="L-9", mass_ng=G, allergens=None)
    assert label_allergens([unknown, take(1)], finished_ng=G).unstated == ("L-9",)
