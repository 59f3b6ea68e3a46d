"""From an exact mass to what a scale can show, and which weights can be."""

from decimal import Decimal as D
from math import ceil, floor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.weighing import (
    LARGEST,
    check_weight,
    down_to_step,
    enough_whole,
    nearest_whole,
    to_step,
    up_to_step,
)
from studio.foundation.errors import Faults

amounts = st.decimals(0, 10**12, places=3)
steps = st.sampled_from([1, 5, 10, 100, 1000])


@given(amounts, steps)
def test_a_step_is_the_nearest_the_next_below_or_the_next_above(amount, step):
    assert down_to_step(amount, step) == floor(amount / step) * step
    assert up_to_step(amount, step) == ceil(amount / step) * step
    assert to_step(amount, step) == round(amount / step) * step


@given(amounts)
def test_whole_pieces_are_the_nearest_or_enough(amount):
    assert nearest_whole(amount) == round(amount)
    assert enough_whole(amount) == ceil(amount)


@pytest.mark.parametrize(
    ("amount", "near", "enough"),
    [("2", 2, 2), ("2.5", 2, 3), ("3.5", 4, 4), ("2.001", 2, 3), ("0", 0, 0), ("0.1", 0, 1)],
)
def test_ties_go_to_the_even_piece_and_a_part_of_one_takes_one(amount, near, enough):
    assert (nearest_whole(D(amount)), enough_whole(D(amount))) == (near, enough)


@pytest.mark.parametrize(
    ("mass", "least", "is_refused"),
    [
        (None, 0, False),
        (None, 1, False),
        (0, 0, False),
        (0, 1, True),
        (1, 1, False),
        (-1, 0, True),
        (LARGEST, 1, False),
        (LARGEST + 1, 0, True),
    ],
)
def test_a_weight_is_refused_only_where_it_cannot_be(mass, least, is_refused):
    faults = Faults()
    check_weight(faults, mass, "poured", least=least)
    assert [(f.code, f.field) for f in faults.found] == [("weight-outside", "poured")] * is_refused
    words = "more than nothing" if least else "0 g or more"
    assert all(words in fault.message for fault in faults.found)
