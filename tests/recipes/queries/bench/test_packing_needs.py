"""What the good bars need of packaging: whole pieces, and never too few. No database."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.models.catalog.materials import Material
from recipes.domain.formulas.formula import Basis
from recipes.models.bench.batches import Batch, BatchLine
from recipes.models.formulas.formulas import FormulaLine
from recipes.queries.bench.batches import packing_needs


def need(good, amount, *, basis=Basis.PER_BAR, counted=True, planned=0, bars=8):
    line = FormulaLine(basis=basis.value, amount=D(amount))
    row = BatchLine(
        position=3, planned=planned, material=Material(counted=counted), formula_line=line
    )
    return packing_needs(Batch(bars_good=good, bars_planned=bars), [row])[3]


@pytest.mark.parametrize(
    ("good", "amount", "pieces"),
    [
        (8, "1", 8),
        (7, "0.5", 4),  # half a sheet for each: the seventh bar begins a sheet
        (8, "0.5", 4),
        (1, "0.25", 1),
        (5, "0.25", 2),
        (3, "1.1", 4),
        (0, "0.5", 0),
        (None, "0.5", 0),
    ],
)
def test_a_piece_that_is_begun_is_a_piece(good, amount, pieces):
    assert need(good, amount) == pieces


@given(st.integers(0, 500), st.decimals(D("0.001"), 20, places=3))
def test_pieces_are_enough_and_no_more(good, amount):
    pieces = need(good, amount)
    assert pieces >= amount * good > pieces - 1


def test_what_is_weighed_by_the_bar_goes_by_the_bars_that_came_out():
    # 40 g of tissue were planned for 8 bars; 6 are good.
    assert need(6, "5", counted=False, planned=40) == 30
    assert need(6, "5", counted=False, planned=40, bars=None) == 40


def test_what_is_given_by_the_batch_is_taken_as_planned():
    assert need(2, "3", basis=Basis.FIXED, planned=3) == 3
    row = BatchLine(position=3, planned=9, material=Material(counted=True), formula_line=None)
    assert packing_needs(Batch(bars_good=2, bars_planned=8), [row]) == {3: 9}
