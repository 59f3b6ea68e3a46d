"""Volumes of molds: laws of geometry first, then worked examples of published sources."""

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from recipes.domain.molds.molds import fill_height_nm, fill_volume_nl
from recipes.domain.molds.shapes import (
    LARGEST_NL,
    CavityMold,
    LyingCylinder,
    MeasuredMold,
    RectangularMold,
    Slab,
    TaperedMold,
    UprightCylinder,
    full_volume_nl,
)
from studio.foundation.errors import InvalidInput

MM = 10**6
CM = 10 * MM
INCH = 25_400_000
NL_PER_CM3 = 10**6
NL_PER_IN3 = 16_387_064  # an inch is 2.54 cm, so this is exact

sides = st.integers(5 * MM, 600 * MM)

boxes = st.builds(RectangularMold, length_nm=sides, width_nm=sides, depth_nm=sides)
tapered = st.builds(
    TaperedMold,
    bottom_length_nm=sides,
    bottom_width_nm=sides,
    top_length_nm=sides,
    top_width_nm=sides,
    depth_nm=sides,
)
upright = st.builds(UprightCylinder, diameter_nm=sides, height_nm=sides)
lying = st.builds(LyingCylinder, diameter_nm=sides, length_nm=sides)
slabs = st.builds(
    Slab,
    length_nm=st.integers(100 * MM, 600 * MM),
    width_nm=st.integers(100 * MM, 600 * MM),
    depth_nm=st.integers(20 * MM, 60 * MM),
    rows=st.integers(1, 8),
    columns=st.integers(1, 8),
    divider_nm=st.integers(0, 3 * MM),
)
shapes = st.one_of(boxes, tapered, upright, lying, slabs)
trays = st.builds(CavityMold, count=st.integers(1, 12), cavity=shapes)
molds = st.one_of(shapes, trays)


@given(mold=molds, first=st.floats(0.001, 1), second=st.floats(0.001, 1))
def test_more_height_never_holds_less(mold, first, second):
    depth = mold.fill_depth_nm
    low, high = sorted(max(1, int(depth * part)) for part in (first, second))
    assert fill_volume_nl(mold, low) <= fill_volume_nl(mold, high) <= full_volume_nl(mold)


@given(mold=molds, part=st.floats(0.001, 1))
def test_fill_height_is_the_lowest_that_holds_the_volume(mold, part):
    volume = max(1, int(full_volume_nl(mold) * part))
    height = fill_height_nm(mold, volume)
    assert fill_volume_nl(mold, height) >= volume
    assert height == 1 or fill_volume_nl(mold, height - 1) < volume


@given(mold=molds, part=st.floats(0.01, 1))
def test_fill_height_finds_the_height_a_volume_came_from(mold, part):
    height = max(1, int(mold.fill_depth_nm * part))
    volume = fill_volume_nl(mold, height)
    found = fill_height_nm(mold, volume)
    assert found <= height
    assert fill_volume_nl(mold, found) == volume


@given(mold=molds)
def test_filled_to_its_depth_a_mold_is_full(mold):
    assert fill_volume_nl(mold, mold.fill_depth_nm) == full_volume_nl(mold)
    assert fill_volume_nl(mold) == full_volume_nl(mold)


@given(box=boxes, part=st.floats(0.01, 1))
def test_a_tapered_mold_with_equal_ends_is_a_box(box, part):
    mold = TaperedMold(
        bottom_length_nm=box.length_nm,
        bottom_width_nm=box.width_nm,
        top_length_nm=box.length_nm,
        top_width_nm=box.width_nm,
        depth_nm=box.depth_nm,
    )
    height = max(1, int(box.depth_nm * part))
    assert fill_volume_nl(mold, height) == fill_volume_nl(box, height)


@given(mold=tapered, part=st.floats(0.01, 0.99))
def test_a_partly_filled_tapered_mold_is_the_frustum_of_what_is_below_the_line(mold, part):
    height = int(mold.depth_nm * part)
    below = Fraction(height, mold.depth_nm)
    length_gain, width_gain = (
        (mold.top_length_nm - mold.bottom_length_nm),
        (mold.top_width_nm - mold.bottom_width_nm),
    )
    # The integral of length x width over the height, term by term.
    cubic_nm = height * (
        mold.bottom_length_nm * mold.bottom_width_nm
        + below * (mold.bottom_length_nm * width_gain + mold.bottom_width_nm * length_gain) / 2
        + below**2 * length_gain * width_gain / 3
    )
    assert fill_volume_nl(mold, height) == round(cubic_nm / 10**15)


@given(mold=lying)
def test_a_full_lying_cylinder_holds_what_it_holds_standing(mold):
    standing = UprightCylinder(diameter_nm=mold.diameter_nm, height_nm=mold.length_nm)
    assert abs(full_volume_nl(mold) - full_volume_nl(standing)) <= 1


@given(mold=lying, part=st.floats(0.01, 0.99))
def test_air_and_batter_in_a_lying_cylinder_make_up_the_whole(mold, part):
    height = int(mold.diameter_nm * part)
    batter = fill_volume_nl(mold, height)
    air = fill_volume_nl(mold, mold.diameter_nm - height)
    assert abs(batter + air - full_volume_nl(mold)) <= 2


@given(cavity=shapes, count=st.integers(1, 12), part=st.floats(0.01, 1))
def test_cavities_hold_so_many_times_one(cavity, count, part):
    assume(count * full_volume_nl(cavity) <= LARGEST_NL)
    tray = CavityMold(count=count, cavity=cavity)
    height = max(1, int(cavity.fill_depth_nm * part))
    assert fill_volume_nl(tray, height) == count * fill_volume_nl(cavity, height)


@given(slab=slabs)
def test_a_slab_holds_the_sum_of_its_fields(slab):
    fields = slab.rows * slab.columns
    field_nm3 = (
        Fraction(slab.net_length_nm, slab.columns)
        * Fraction(slab.net_width_nm, slab.rows)
        * slab.depth_nm
    )
    assert full_volume_nl(slab) == round(fields * field_nm3 / 10**15)


@given(mold=molds, share=st.decimals("0.01", 1, places=4))
def test_a_fill_share_is_that_share_of_the_full_volume(mold, share):
    exact = full_volume_nl(mold) * Fraction(share)
    assert abs(fill_volume_nl(mold, fill_share=share) - exact) <= Fraction(1, 2)


@given(volume=st.integers(1, 10**10), depth=sides, part=st.floats(0.01, 1))
def test_a_measured_mold_fills_by_the_share_of_its_depth(volume, depth, part):
    mold = MeasuredMold(volume_nl=volume, depth_nm=depth)
    height = max(1, int(depth * part))
    assert fill_volume_nl(mold, height) == round(Fraction(volume * height, depth))
    assert fill_volume_nl(mold, depth) == volume


# --- worked examples -----------------------------------------------------------------------


def test_square_frustum_of_the_moscow_papyrus():
    """Moscow mathematical papyrus, problem 14: base 4, top 2, height 6 makes 56."""
    mold = TaperedMold(
        bottom_length_nm=4 * CM,
        bottom_width_nm=4 * CM,
        top_length_nm=2 * CM,
        top_width_nm=2 * CM,
        depth_nm=6 * CM,
    )
    assert full_volume_nl(mold) == 56 * NL_PER_CM3


def test_truncated_pyramid():
    """A mathematics problem collection, problem 2440: 1 m, 0.6 m, height 0.25 m: 0.163 m3.

    Exactly it is 49/300 m3.
    """
    mold = TaperedMold(
        bottom_length_nm=1000 * MM,
        bottom_width_nm=1000 * MM,
        top_length_nm=600 * MM,
        top_width_nm=600 * MM,
        depth_nm=250 * MM,
    )
    assert full_volume_nl(mold) == round(Fraction(49, 300) * 10**12)
    assert full_volume_nl(mold) / 10**12 == pytest.approx(0.163, abs=0.0005)


def test_upright_cylinder():
    """OpenStax, Contemporary Mathematics, 10.7: radius 5 in, height 12 in holds 942.48 in3."""
    mold = UprightCylinder(diameter_nm=10 * INCH, height_nm=12 * INCH)
    assert full_volume_nl(mold) / NL_PER_IN3 == pytest.approx(942.48, abs=0.005)


def test_partly_filled_lying_cylinder():
    """A mathematics problem collection, problem 3613: a lying cylinder 10 m long.

    The surface is 1 m wide and 0.2 m below the top: radius 0.725 m, volume 15.138 m3. Taken at
    a tenth of the size, which holds a thousandth.
    """
    chord, gap = 100 * MM, 20 * MM
    radius = Fraction((chord // 2) ** 2 + gap**2, 2 * gap)
    assert radius == Fraction(725, 10) * MM
    mold = LyingCylinder(diameter_nm=int(2 * radius), length_nm=1000 * MM)
    volume = fill_volume_nl(mold, int(2 * radius) - gap)
    assert volume / 10**9 == pytest.approx(15.138, abs=0.0005)


def test_box():
    """OpenStax, Contemporary Mathematics, 10.7: 10 cm x 5 cm x 3 cm holds 150 cm3."""
    mold = RectangularMold(length_nm=5 * CM, width_nm=10 * CM, depth_nm=3 * CM)
    assert full_volume_nl(mold) == 150 * NL_PER_CM3


def test_the_fill_line_of_a_full_mold_is_its_rim():
    mold = RectangularMold(length_nm=25 * CM, width_nm=8 * CM, depth_nm=6 * CM)
    assert fill_height_nm(mold, full_volume_nl(mold)) == mold.depth_nm


def test_half_a_lying_cylinder_is_half_its_volume():
    mold = LyingCylinder(diameter_nm=8 * CM, length_nm=30 * CM)
    half = round(math.pi * 4**2 * 30 / 2 * NL_PER_CM3)
    assert fill_volume_nl(mold, 4 * CM) == pytest.approx(half, abs=1)


# --- refusals ------------------------------------------------------------------------------


def fields(refused) -> list[str]:
    return [fault.field for fault in refused.value.faults]


def test_all_impossible_lengths_are_told_at_once():
    with pytest.raises(InvalidInput) as refused:
        RectangularMold(length_nm=0, width_nm=-1, depth_nm=6 * 10**9)
    assert fields(refused) == ["length_nm", "width_nm", "depth_nm"]


@given(mold=shapes, name=st.data(), bad=st.one_of(st.integers(max_value=0), st.just(10**12)))
def test_a_zero_negative_or_huge_length_is_refused(mold, name, bad):
    values = {field: getattr(mold, field) for field in mold.__slots__}
    field = name.draw(st.sampled_from([f for f in values if f.endswith("_nm")]))
    assume(not (field == "divider_nm" and bad == 0))
    with pytest.raises(InvalidInput):
        type(mold)(**{**values, field: bad})


def test_a_mold_above_any_studio_is_refused():
    with pytest.raises(InvalidInput) as refused:
        RectangularMold(length_nm=4 * 10**9, width_nm=10**9, depth_nm=10**9)
    assert refused.value.faults[0].code == "too-large"


@pytest.mark.parametrize("height", [0, -1, 60 * MM + 1])
def test_a_fill_height_outside_the_mold_is_refused(height):
    mold = RectangularMold(length_nm=250 * MM, width_nm=80 * MM, depth_nm=60 * MM)
    with pytest.raises(InvalidInput) as refused:
        fill_volume_nl(mold, height)
    assert fields(refused) == ["fill_height_nm"]


@pytest.mark.parametrize("share", ["0", "-0.1", "1.01", "NaN", "Infinity", "1E-999999"])
def test_a_fill_share_that_is_none_is_refused(share):
    with pytest.raises(InvalidInput):
        fill_volume_nl(MeasuredMold(volume_nl=10**9), fill_share=Decimal(share))


def test_height_and_share_together_are_refused():
    mold = MeasuredMold(volume_nl=10**9, depth_nm=5 * CM)
    with pytest.raises(InvalidInput):
        fill_volume_nl(mold, 1 * CM, fill_share=Decimal("0.5"))


def test_a_height_in_a_mold_of_unknown_depth_is_refused():
    mold = MeasuredMold(volume_nl=10**9)
    with pytest.raises(InvalidInput, match="share"):
        fill_volume_nl(mold, 1 * CM)
    with pytest.raises(InvalidInput, match="share"):
        fill_height_nm(mold, 10**8)


@pytest.mark.parametrize("excess", [-(10**9), 1])
def test_a_volume_the_mold_cannot_hold_has_no_fill_height(excess):
    mold = MeasuredMold(volume_nl=10**9, depth_nm=5 * CM)
    with pytest.raises(InvalidInput):
        fill_height_nm(mold, 10**9 + excess)


@pytest.mark.parametrize("count", [0, -3, 10_001])
def test_an_impossible_number_of_cavities_is_refused(count):
    with pytest.raises(InvalidInput) as refused:
        CavityMold(count=count, cavity=MeasuredMold(volume_nl=10**8))
    assert fields(refused) == ["count"]


def test_all_faults_of_a_slab_are_told_at_once():
    with pytest.raises(InvalidInput) as refused:
        Slab(length_nm=0, width_nm=MM, depth_nm=MM, rows=0, columns=1, divider_nm=-1)
    assert fields(refused) == ["length_nm", "rows", "divider_nm"]


def test_dividers_that_fill_the_slab_are_refused():
    with pytest.raises(InvalidInput) as refused:
        Slab(
            length_nm=100 * MM,
            width_nm=100 * MM,
            depth_nm=30 * MM,
            rows=1,
            columns=11,
            divider_nm=10 * MM,
        )
    assert fields(refused) == ["divider_nm"]
