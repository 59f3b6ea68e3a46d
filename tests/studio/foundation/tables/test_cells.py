"""Cells that no spreadsheet computes, and what is taken back from them.

What begins a formula: OWASP, "CSV Injection".
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.foundation.tables.cells import cell_text, made_safe, plain, restored

BEGINNINGS = ("=", "+", "-", "@", "\t", "\r")
tricky = st.text("'=+-@\t\r\n＝0.5ax", max_size=8)


@given(tricky | st.text(max_size=20))
def test_exactly_what_was_added_is_taken_away(text):
    assert restored(made_safe(text)) == text


@given(st.sampled_from(BEGINNINGS), st.text(max_size=20))
def test_no_cell_begins_like_a_formula_unless_it_is_a_number(sign, rest):
    safe = made_safe(sign + rest)
    if safe[0] in BEGINNINGS:
        assert Decimal(safe).is_finite()


@pytest.mark.parametrize("text", ["=1+1", "@SUM(A1)", "+cmd|' /C calc'!A0", "-2+3", "\t=1", "'=1"])
def test_formulas_get_an_apostrophe(text):
    assert made_safe(text) == "'" + text


@pytest.mark.parametrize("text", ["-12.5", "olive", "", "'quoted'", "7 lb 8 oz"])
def test_what_is_no_formula_stays_as_it_is(text):
    assert made_safe(text) == restored(text) == text


@given(st.decimals(allow_nan=False, allow_infinity=False, places=6))
def test_numbers_are_plain_and_exact(number):
    text = plain(number)
    assert Decimal(text) == number
    assert "E" not in text and not (("." in text) and text.endswith("0"))


def test_nothing_is_an_empty_cell():
    assert cell_text(None) == ""
