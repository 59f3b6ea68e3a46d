"""Which scale holds what: common practice, no source; the figures are counted by hand."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.scales import Scale, Scales, finest

MG, G, KG = 10**6, 10**9, 10**12
BENCH = Scale(name="Bench scale", step_ng=100 * MG, capacity_ng=3 * KG)
FLOOR = Scale(name="Floor scale", step_ng=5 * G, capacity_ng=60 * KG)
BOTH = Scales(kept=(FLOOR, BENCH))

scales = st.builds(
    lambda name, step, capacity: Scale(name=name, step_ng=step, capacity_ng=step + capacity),
    st.text(min_size=1, max_size=3),
    st.integers(1, 50 * G),
    st.integers(0, 100 * KG),
)
kept = st.lists(scales, max_size=4)
masses = st.integers(1, 500 * KG)


@given(kept, masses)
def test_the_finest_that_holds_it_is_taken_and_none_where_none_holds_it(some, mass):
    found = finest(some, D(mass))
    holding = [
        scale for scale in some if mass <= scale.capacity_ng // scale.step_ng * scale.step_ng
    ]
    if found is None:
        assert not holding
    else:
        assert found in holding
        assert all(found.step_ng <= scale.step_ng for scale in holding)


@given(kept, masses, st.integers(1, 10 * G))
def test_nothing_that_is_wanted_is_weighed_as_nothing(some, mass, step):
    on = Scales(step_ng=step, kept=tuple(some))
    how, weighed = on.on(mass), on.nearest(D(mass))
    assert weighed > 0
    if how.shows(mass):
        assert weighed % how.step_ng == 0 and abs(weighed - mass) * 2 <= how.step_ng
    else:
        assert weighed == mass


@given(kept, masses, st.integers(1, 10 * G))
def test_down_is_never_more_than_asked_and_less_than_a_step_below(some, mass, step):
    on = Scales(step_ng=step, kept=tuple(some))
    how, weighed = on.on(mass), on.down(D(mass))
    assert weighed <= mass < weighed + how.step_ng and weighed % how.step_ng == 0
    assert on.up(D(mass)) in (weighed, weighed + how.step_ng)
    assert on.up(D(mass)) >= mass


@given(st.lists(scales, min_size=1, max_size=4), masses)
def test_goes_are_as_few_as_the_largest_scale_allows(some, mass):
    how = Scales(kept=tuple(some)).on(mass)
    assert how.scale is not None
    most = how.scale.most_ng
    assert most * how.goes >= mass > most * (how.goes - 1)
    if how.goes > 1:
        assert most == max(scale.most_ng for scale in some)


@pytest.mark.parametrize(
    ("mass", "name", "goes"),
    [
        (1, "Bench scale", 1),
        (3 * KG, "Bench scale", 1),
        (3 * KG + 1, "Floor scale", 1),
        (60 * KG, "Floor scale", 1),
        (60 * KG + 1, "Floor scale", 2),
        (121 * KG, "Floor scale", 3),
    ],
)
def test_two_scales_share_what_is_weighed(mass, name, goes):
    how = BOTH.on(mass)
    assert (how.name, how.goes) == (name, goes)


def test_a_scale_holds_whole_steps_of_its_capacity():
    odd = Scale(name="Odd", step_ng=7 * G, capacity_ng=20 * G)
    assert odd.most_ng == 14 * G
    assert finest([odd], D(14 * G)) is odd and finest([odd], D(14 * G + 1)) is None


def test_without_a_kept_scale_the_recipes_step_holds_everything():
    alone = Scales(step_ng=G)
    how = alone.on(900 * KG)
    assert (how.scale, how.name, how.step_ng, how.goes) == (None, "", G, 1)
    assert alone.finest_step_ng == G and BOTH.finest_step_ng == 100 * MG


@pytest.mark.parametrize(
    ("mass", "pieces", "room"),
    [
        (1000 * G, 10, G),  # each of ten to a tenth of a gram
        (4 * KG, 10, 5 * G),  # ten tenths, or all at once on the floor scale
        (4 * KG, 100, 10 * G),
        (130 * KG, 1, 15 * G),  # three goes
        (0, 0, 0),
    ],
)
def test_room_is_a_step_for_each_reading_however_they_were_weighed(mass, pieces, room):
    assert BOTH.room_ng(mass, pieces=pieces) == room
