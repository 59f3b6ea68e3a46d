"""Columns divided exactly, beside Python's own integers and fractions."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from costing.domain.exact_division import MAX, divided, divided_down, summed, times

ANY = st.integers(0, 2**62)
ROWS = st.lists(st.tuples(ANY, ANY, st.integers(1, 2**62)), min_size=1, max_size=30)


@given(ROWS)
@example([(10**13, 1_280_000, 15_875_732_950_000)])
@example([(1, 1, 2), (3, 1, 2), (5, 3, 2)])  # halves go to the even neighbor
@example([(2**62, 2**61, 2**62), (2**50 - 1, 2**10 + 1, 2**10)])
def test_it_is_the_fraction_rounded_half_to_even(rows):
    fitting = [row for row in rows if row[0] * row[1] // row[2] < MAX]
    if fitting:
        amounts, prices, packs = zip(*fitting, strict=True)
        found = divided(amounts, prices, packs)
        assert found.tolist() == [round(Fraction(a * p, q)) for a, p, q in fitting]


@given(ROWS)
def test_what_is_left_over_is_what_divmod_leaves(rows):
    fitting = [row for row in rows if row[0] * row[1] // row[2] < MAX]
    if fitting:
        quotient, rest = divided_down(*zip(*fitting, strict=True))
        pairs = zip(quotient.tolist(), rest.tolist(), strict=True)
        assert list(pairs) == [divmod(a * p, q) for a, p, q in fitting]


def test_what_does_not_fit_is_never_cut_off():
    with pytest.raises(OverflowError):
        divided([2**62], [8], [1])
    with pytest.raises(OverflowError):
        summed(np.array([2**61] * 4), np.array([0, 4]))
    with pytest.raises(OverflowError):
        times(np.array([2**40]), np.array([2**40]))


@pytest.mark.parametrize("row", [(1, 1, 0), (-1, 1, 1), (1, -1, 1)])
def test_only_amounts_that_make_sense(row):
    with pytest.raises(ValueError, match="from 0 up"):
        divided(*row)


@given(st.lists(st.lists(st.integers(0, 10**9), max_size=5), max_size=8))
def test_sums_of_parts_also_of_empty_ones(parts):
    values = np.array([value for part in parts for value in part], dtype=np.int64)
    starts = np.cumsum([0, *(len(part) for part in parts)], dtype=np.int64)
    assert summed(values, starts).tolist() == [sum(part) for part in parts]
