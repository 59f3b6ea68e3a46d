"""Bars out of a mold: how many, and what one weighs as poured."""

from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from recipes.domain.molds.molds import GridCut, LogCut, MoldCut, bar_poured_weight_ng, bars
from recipes.domain.molds.shapes import (
    CavityMold,
    LyingCylinder,
    MeasuredMold,
    RectangularMold,
    Slab,
    TaperedMold,
    UprightCylinder,
)
from studio.foundation.errors import InvalidInput

MM = 10**6
G = 10**9
LOAF = RectangularMold(length_nm=250 * MM, width_nm=80 * MM, depth_nm=65 * MM)

counts = st.integers(1, 6)
batters = st.integers(10**9, 10**14)


@given(rows=counts, columns=counts, layers=counts, batter=batters)
def test_a_grid_shares_all_of_the_batter(rows, columns, layers, batter):
    cut = MoldCut(mold=LOAF, cut=GridCut(rows=rows, columns=columns, layers=layers))
    assert bars(cut) == rows * columns * layers
    assert abs(bar_poured_weight_ng(cut, batter_ng=batter) * bars(cut) - batter) <= bars(cut)


@given(
    thickness=st.integers(10 * MM, 60 * MM),
    trim=st.integers(0, 20 * MM),
    columns=counts,
    batter=batters,
)
def test_bars_of_a_log_fit_between_the_trims_and_no_more_would(thickness, trim, columns, batter):
    cut = MoldCut(mold=LOAF, cut=LogCut(bar_thickness_nm=thickness, trim_nm=trim, columns=columns))
    slices, rest = divmod(bars(cut), columns)
    assert rest == 0
    usable = LOAF.length_nm - 2 * trim
    assert slices * thickness <= usable < (slices + 1) * thickness
    assert bar_poured_weight_ng(cut, batter_ng=batter) * bars(cut) <= batter + bars(cut)


@given(count=counts, batter=batters)
def test_cavities_make_so_many_times_the_bars(count, batter):
    cut = GridCut(rows=3, trim_nm=5 * MM)
    one = MoldCut(mold=LOAF, cut=cut)
    many = MoldCut(mold=CavityMold(count=count, cavity=LOAF), cut=cut)
    assert bars(many) == count * bars(one)
    weights = [
        bar_poured_weight_ng(one, batter_ng=batter),
        bar_poured_weight_ng(many, batter_ng=batter * count),
    ]
    assert weights[0] == weights[1]


@given(bottom=st.integers(200 * MM, 300 * MM), top=st.integers(200 * MM, 300 * MM))
def test_a_tapered_log_gives_the_bars_that_fit_its_shorter_side(bottom, top):
    mold = TaperedMold(
        bottom_length_nm=bottom,
        top_length_nm=top,
        bottom_width_nm=70 * MM,
        top_width_nm=80 * MM,
        depth_nm=65 * MM,
    )
    cut = MoldCut(mold=mold, cut=LogCut(bar_thickness_nm=25 * MM))
    assert bars(cut) == min(bottom, top) // (25 * MM)
    mean = Fraction(bottom + top, 2)
    weight = bar_poured_weight_ng(cut, batter_ng=1000 * G)
    assert weight == round(1000 * G * 25 * MM / mean)


def test_a_log_cut_with_trim():
    cut = MoldCut(mold=LOAF, cut=LogCut(bar_thickness_nm=25 * MM, trim_nm=5 * MM))
    assert bars(cut) == 9
    assert bar_poured_weight_ng(cut, batter_ng=1200 * G) == 120 * G


def test_a_grid_with_trim_weighs_what_is_between_the_trims():
    cut = MoldCut(mold=LOAF, cut=GridCut(rows=8, trim_nm=5 * MM))
    assert bar_poured_weight_ng(cut, batter_ng=1000 * G) == 120 * G


def test_whole_cavities_are_bars():
    cut = MoldCut(mold=CavityMold(count=6, cavity=MeasuredMold(volume_nl=120 * 10**6)))
    assert bars(cut) == 6
    assert bar_poured_weight_ng(cut, batter_ng=720 * G) == 120 * G


def test_fields_of_a_slab_are_bars():
    slab = Slab(
        length_nm=300 * MM, width_nm=200 * MM, depth_nm=30 * MM, rows=3, columns=5, divider_nm=MM
    )
    assert bars(MoldCut(mold=slab)) == 15


def test_a_standing_tube_is_cut_along_its_fill_height():
    mold = UprightCylinder(diameter_nm=75 * MM, height_nm=300 * MM)
    cut = LogCut(bar_thickness_nm=25 * MM)
    assert bars(MoldCut(mold=mold, cut=cut)) == 12
    assert bars(MoldCut(mold=mold, cut=cut, fill_height_nm=200 * MM)) == 8
    lying = LyingCylinder(diameter_nm=75 * MM, length_nm=300 * MM)
    assert bars(MoldCut(mold=lying, cut=cut, fill_height_nm=40 * MM)) == 12


@pytest.mark.parametrize(
    ("cut", "fields"),
    [
        (GridCut(rows=0, columns=-1, trim_nm=-1), ["cut.rows", "cut.columns", "cut.trim_nm"]),
        (LogCut(bar_thickness_nm=0, layers=0), ["cut.layers", "cut.bar_thickness_nm"]),
        (LogCut(bar_thickness_nm=251 * MM), ["cut"]),
        (GridCut(trim_nm=125 * MM), ["cut"]),
    ],
)
def test_a_cut_that_makes_no_bars_is_refused(cut, fields):
    with pytest.raises(InvalidInput) as refused:
        MoldCut(mold=LOAF, cut=cut)
    assert [fault.field for fault in refused.value.faults] == fields


def test_a_measured_mold_has_no_length_to_cut_along():
    with pytest.raises(InvalidInput, match="grid"):
        MoldCut(mold=MeasuredMold(volume_nl=10**9), cut=LogCut(bar_thickness_nm=MM))


@given(height=st.integers(-(10**9), 10**9))
def test_a_fill_above_the_mold_or_of_nothing_is_refused(height):
    assume(not 0 < height <= LOAF.depth_nm)
    with pytest.raises(InvalidInput):
        MoldCut(mold=LOAF, fill_height_nm=height)


def test_no_batter_has_no_bar_weight():
    with pytest.raises(InvalidInput):
        bar_poured_weight_ng(MoldCut(mold=LOAF), batter_ng=0)
