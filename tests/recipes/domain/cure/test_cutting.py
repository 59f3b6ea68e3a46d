"""Cut plans conserve the batter, and cost is dealt without losing a unit."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.cure.cutting import BarSize, cost_of_cut, cut_plan
from recipes.domain.molds.molds import GridCut, LogCut, MoldCut, bar_poured_weight_ng
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

MM, KG = 10**6, 10**12
lengths = st.integers(40 * MM, 800 * MM)
cuts = st.builds(
    GridCut,
    rows=st.integers(1, 20),
    columns=st.integers(1, 4),
    layers=st.integers(1, 3),
    trim_nm=st.integers(0, 19 * MM),
) | st.builds(
    LogCut,
    bar_thickness_nm=st.integers(MM, 2 * MM),
    columns=st.integers(1, 3),
    trim_nm=st.integers(0, 18 * MM),
)
shapes = (
    st.builds(RectangularMold, length_nm=lengths, width_nm=lengths, depth_nm=lengths)
    | st.builds(
        TaperedMold,
        bottom_length_nm=lengths,
        bottom_width_nm=lengths,
        top_length_nm=lengths,
        top_width_nm=lengths,
        depth_nm=lengths,
    )
    | st.builds(LyingCylinder, diameter_nm=lengths, length_nm=lengths)
    | st.builds(UprightCylinder, diameter_nm=lengths, height_nm=lengths)
)


@given(shapes, cuts, st.integers(1, 6), st.integers(1, 20 * KG))
def test_bars_ends_and_rest_add_up_to_the_batter(shape, cut, cavities, batter):
    mold = shape if cavities == 1 else CavityMold(count=cavities, cavity=shape)
    plan = cut_plan(MoldCut(mold=mold, cut=cut), batter_ng=batter)
    assert plan.bars_ng + plan.ends_ng + plan.rest_ng == batter
    assert min(plan.bars_ng, plan.ends_ng, plan.rest_ng) >= 0
    assert abs(plan.bars * plan.bar_ng - plan.bars_ng) <= plan.bars
    assert abs(plan.ends * plan.end_ng - plan.ends_ng) <= plan.ends + 1
    assert (plan.ends > 0) == (cut.trim_nm > 0)


def test_a_loaf_of_24_cm_with_trimmed_ends():
    # 240 mm less 5 mm at both ends leaves 230 mm: 8 bars of 28.75 mm, and of 1200 g each bar
    # 28.75/240 = 143.75 g and each end 5/240 = 25 g.
    loaf = RectangularMold(length_nm=240 * MM, width_nm=70 * MM, depth_nm=60 * MM)
    mold_cut = MoldCut(mold=loaf, cut=GridCut(rows=8, trim_nm=5 * MM), fill_height_nm=50 * MM)
    plan = cut_plan(mold_cut, batter_ng=1_200 * 10**9)
    assert plan.size == BarSize(length_nm=28_750_000, width_nm=70 * MM, height_nm=50 * MM)
    assert (plan.bars, plan.bar_ng, plan.ends, plan.end_ng) == (8, 143_750 * MM, 2, 25_000 * MM)
    assert (plan.bars_ng, plan.ends_ng, plan.rest_ng) == (1_150 * 10**9, 50 * 10**9, 0)
    assert plan.bar_ng == bar_poured_weight_ng(mold_cut, batter_ng=1_200 * 10**9)


def test_bars_of_one_thickness_leave_a_rest():
    loaf = RectangularMold(length_nm=240 * MM, width_nm=70 * MM, depth_nm=60 * MM)
    cut = LogCut(bar_thickness_nm=25 * MM, trim_nm=5 * MM)
    plan = cut_plan(MoldCut(mold=loaf, cut=cut), batter_ng=2_400 * 10**9)
    # 230 mm give 9 bars of 25 mm; 5 mm are left, as much as one end
    assert (plan.bars, plan.ends_ng, plan.rest_ng) == (9, 100 * 10**9, 50 * 10**9)


@pytest.mark.parametrize(
    ("mold", "cut", "size"),
    [
        (
            Slab(length_nm=302 * MM, width_nm=204 * MM, depth_nm=30 * MM, rows=3, columns=2,
                 divider_nm=2 * MM),
            GridCut(),
            (150, 200 / 3, 30),
        ),
        (LyingCylinder(diameter_nm=70 * MM, length_nm=300 * MM), GridCut(rows=10), (30, 70, 70)),
        (UprightCylinder(diameter_nm=70 * MM, height_nm=90 * MM), GridCut(rows=3), (30, 70, 70)),
        (
            TaperedMold(
                bottom_length_nm=200 * MM,
                bottom_width_nm=60 * MM,
                top_length_nm=220 * MM,
                top_width_nm=80 * MM,
                depth_nm=60 * MM,
            ),
            GridCut(rows=7, layers=2),
            (30, 70, 30),
        ),
    ],
)  # fmt: skip
def test_sizes_of_bars(mold, cut, size):
    plan = cut_plan(MoldCut(mold=mold, cut=cut), batter_ng=KG)
    found = (plan.size.length_nm, plan.size.width_nm, plan.size.height_nm)
    assert found == pytest.approx([side * MM for side in size], abs=1)


def test_a_measured_mold_has_bars_of_no_known_size():
    plan = cut_plan(MoldCut(mold=MeasuredMold(volume_nl=10**9)), batter_ng=KG)
    assert (plan.size, plan.bar_ng, plan.ends) == (None, KG, 0)


@given(
    st.integers(0, 10**12),
    st.integers(1, 10**13),
    st.data(),
    st.none() | st.decimals(0, Decimal("0.999999"), places=6),
)
def test_the_cost_of_the_pour_is_conserved(cost, poured, data, share):
    ends = data.draw(st.integers(0, poured - 1))
    dealt = cost_of_cut(cost, poured_ng=poured, ends_ng=ends, share=share)
    assert dealt.bars + dealt.ends + dealt.loss == cost
    assert min(dealt.bars, dealt.ends) >= 0 and dealt.loss == 0
    if not ends:
        assert dealt.ends == 0
    elif share is not None:
        assert abs(dealt.ends - cost * share) <= 1


def test_what_cannot_be_a_cut_is_told_at_once():
    with pytest.raises(InvalidInput) as refused:
        cost_of_cut(100, poured_ng=KG, ends_ng=KG, share=Decimal(1))
    assert {fault.field for fault in refused.value.faults} == {"ends_weight", "ends_cost_share"}
