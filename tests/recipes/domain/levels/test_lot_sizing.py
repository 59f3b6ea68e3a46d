"""A batch of a blend is at least what is short, in steps of the scale, and hardly larger."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.chemistry.blends import BlendLine, scale_blend
from recipes.domain.formulas.formula import Ingredient
from recipes.domain.levels.explosion import BlendMaker
from recipes.domain.weighing import LARGEST
from recipes.errors import ScalingRefusal

G = 10**9


def line(code, share):
    return BlendLine(Ingredient(code=code, name=code, kind=MaterialKind.FAT), share)


@st.composite
def makers(draw):
    parts = draw(st.lists(st.integers(1, 1000), min_size=1, max_size=5))
    total = sum(parts)
    shares = [(Decimal(part) / total).quantize(Decimal("0.000001")) for part in parts]
    shares[-1] += 1 - sum(shares)
    lines = [line(f"m{i}", share) for i, share in enumerate(shares) if share > 0]
    return BlendMaker(
        name="blend",
        lines=lines,
        materials=list(range(len(lines))),
        resolution=draw(st.sampled_from([G // 100, G, 5 * G, 100 * G])),
        loss_share=draw(st.sampled_from([Decimal(0), Decimal("0.14"), Decimal("0.5")])),
        least_make=draw(st.sampled_from([0, 500 * G])),
    )


@given(makers(), st.integers(1, 5_000 * G))
def test_at_least_what_is_short_and_no_step_more_than_rounding_asks_for(maker, wanted):
    sized = maker.size(wanted)
    step = maker.resolution
    assert sized.output >= wanted and sized.target % step == 0
    assert sized.target >= maker.least_make
    blend = scale_blend(maker.lines, sized.target, step, loss_share=maker.loss_share)
    assert sized.output == blend.output_ng and sum(sized.needs.values()) == blend.input_ng
    # Each line is off by half a step at most, before what is lost of it.
    least = max(wanted, maker.least_make)
    assert sized.target - least <= step * (len(maker.lines) / 2 + 2)


def test_nothing_above_ten_tonnes():
    maker = BlendMaker(
        name="Lye",
        lines=[line("a", Decimal(1))],
        materials=[1],
        resolution=G,
    )
    assert maker.size(LARGEST).target == LARGEST
    with pytest.raises(ScalingRefusal, match="10 t of Lye"):
        maker.size(LARGEST + 1)


def test_a_material_in_two_lines_is_needed_once():
    maker = BlendMaker(
        name="x",
        lines=[line("a", Decimal("0.5")), line("a", Decimal("0.5"))],
        materials=[7, 7],
        resolution=G,
    )
    assert maker.size(10 * G).needs == {7: 10 * G}
