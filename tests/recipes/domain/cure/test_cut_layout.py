"""How bars lie in a mold when it is cut: the lengths add up to the log, the bars to its count."""

import pytest

from recipes.domain.cure.cutting import cut_layout
from recipes.domain.molds.molds import GridCut, LogCut, MoldCut, bars
from recipes.domain.molds.shapes import (
    CavityMold,
    MeasuredMold,
    RectangularMold,
    Slab,
    TaperedMold,
    UprightCylinder,
)

MM = 10**6
LOAF = RectangularMold(length_nm=250 * MM, width_nm=70 * MM, depth_nm=60 * MM)
SLAB = Slab(
    length_nm=303 * MM,
    width_nm=202 * MM,
    depth_nm=30 * MM,
    rows=3,
    columns=4,
    divider_nm=1 * MM,
)


def test_a_loaf_is_bars_between_two_ends():
    layout = cut_layout(MoldCut(mold=LOAF, cut=GridCut(rows=8, columns=2, trim_nm=5 * MM)))
    assert (layout.along, layout.across, layout.pieces, layout.rest_nm) == (8, 2, 1, 0)
    assert layout.size.length_nm == 30 * MM and layout.size.width_nm == 35 * MM
    assert layout.length_nm == 250 * MM and layout.width_nm == 70 * MM


def test_what_is_too_short_for_a_bar_is_left_of_a_log():
    cut = LogCut(bar_thickness_nm=27 * MM, layers=2, trim_nm=8 * MM)
    layout = cut_layout(MoldCut(mold=CavityMold(count=3, cavity=LOAF), cut=cut))
    assert (layout.along, layout.layers, layout.pieces) == (8, 2, 3)
    assert layout.rest_nm == 18 * MM and layout.length_nm == 250 * MM


def test_a_slab_that_is_parted_is_drawn_whole():
    layout = cut_layout(MoldCut(mold=SLAB))
    assert (layout.along, layout.across, layout.pieces) == (4, 3, 1)
    assert layout.size.length_nm == 75 * MM


def test_the_field_of_a_slab_that_is_cut_again_is_drawn_alone():
    layout = cut_layout(MoldCut(mold=SLAB, cut=GridCut(rows=2)))
    assert (layout.along, layout.across, layout.pieces) == (2, 1, 12)


def test_a_measured_mold_has_no_sides_to_draw():
    assert cut_layout(MoldCut(mold=MeasuredMold(volume_nl=10**9, depth_nm=50 * MM))) is None


@pytest.mark.parametrize(
    "cut",
    [
        MoldCut(mold=LOAF, cut=GridCut(rows=7, columns=3, layers=2)),
        MoldCut(mold=LOAF, cut=LogCut(bar_thickness_nm=33 * MM, columns=2)),
        MoldCut(mold=SLAB),
        MoldCut(mold=SLAB, cut=GridCut(rows=3, trim_nm=MM)),
        MoldCut(mold=CavityMold(count=6, cavity=SLAB)),
        MoldCut(
            mold=TaperedMold(
                bottom_length_nm=200 * MM,
                bottom_width_nm=60 * MM,
                top_length_nm=220 * MM,
                top_width_nm=80 * MM,
                depth_nm=60 * MM,
            ),
            cut=GridCut(rows=9, trim_nm=2 * MM),
        ),
        MoldCut(
            mold=UprightCylinder(diameter_nm=70 * MM, height_nm=280 * MM), cut=GridCut(rows=11)
        ),
    ],
)
def test_as_many_bars_are_drawn_as_the_mold_makes(cut):
    layout = cut_layout(cut)
    assert layout.along * layout.across * layout.layers * layout.pieces == bars(cut)
