"""Layers fill the mold: nothing is lost, nothing overlaps, the top is the fill line everywhere."""

from decimal import Decimal as D

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.domain.bench.pours import Layer, Place, check_layers, layer_masses, pour_order, stack
from recipes.domain.formulas.formula import WHOLE, Portion
from recipes.domain.molds.molds import fill_volume_nl
from recipes.domain.molds.sections import section_of
from recipes.domain.molds.shapes import (
    CavityMold,
    LyingCylinder,
    MeasuredMold,
    RectangularMold,
    Slab,
    TaperedMold,
    UprightCylinder,
)
from studio.foundation.errors import Faults, InvalidInput

MM = 10**6
MOLDS = {
    "rectangular": RectangularMold(length_nm=240 * MM, width_nm=90 * MM, depth_nm=70 * MM),
    "tapered": TaperedMold(
        bottom_length_nm=220 * MM,
        bottom_width_nm=70 * MM,
        top_length_nm=240 * MM,
        top_width_nm=95 * MM,
        depth_nm=70 * MM,
    ),
    "upright": UprightCylinder(diameter_nm=76 * MM, height_nm=250 * MM),
    "lying": LyingCylinder(diameter_nm=100 * MM, length_nm=300 * MM),
    "slab": Slab(
        length_nm=400 * MM, width_nm=300 * MM, depth_nm=45 * MM, rows=5, columns=4, divider_nm=MM
    ),
    "cavities": CavityMold(
        count=6, cavity=RectangularMold(length_nm=80 * MM, width_nm=55 * MM, depth_nm=25 * MM)
    ),
}
shapes = pytest.mark.parametrize("mold", MOLDS.values(), ids=MOLDS)


@st.composite
def pours(draw):
    """A pour order of random layers with their masses."""
    count = draw(st.integers(1, 8))
    layers = [Layer("p", D(1), draw(st.sampled_from(Place))) for _ in range(count)]
    return layers, draw(st.lists(st.integers(1, 10**12), min_size=count, max_size=count))


@shapes
def test_a_section_holds_what_the_mold_holds(mold):
    section = section_of(mold)
    for share in (0.01, 0.3, 0.77, 1):
        height = round(section.depth_nm * share)
        held = section.volume(height) * section.cavities / 10**15
        whole = fill_volume_nl(mold)
        assert held == pytest.approx(fill_volume_nl(mold, height), rel=2e-3, abs=whole * 1e-3)


@shapes
@settings(max_examples=40)
@given(pour=pours(), share=st.floats(0.05, 1))
def test_layers_fill_the_mold_to_the_line_without_gap_or_overlap(mold, pour, share):
    layers, masses = pour
    section = section_of(mold)
    fill = round(section.depth_nm * share)
    poured = stack(layers, masses, section=section, fill_height_nm=fill)
    for third in range(3):
        spans = [s for one in poured for s in one.spans if s.third == third]
        edges = [0, *(edge for s in spans for edge in (s.bottom_nm, s.top_nm)), fill]
        # Each span begins where the one below it ends; the last one ends at the line.
        assert all(abs(a - b) <= 2 for a, b in zip(edges[::2], edges[1::2], strict=True))
    for one, mass in zip(poured, masses, strict=True):
        volume = sum(
            section.volume_of_third(s.third, s.top_nm)
            - section.volume_of_third(s.third, s.bottom_nm)
            for s in one.spans
        )
        whole = section.volume(fill)
        assert volume == pytest.approx(whole * mass / sum(masses), rel=1e-4, abs=whole * 1e-5)


@shapes
@given(first=st.integers(1, 99))
@settings(max_examples=20)
def test_two_level_layers_meet_where_the_lower_ones_volume_ends(mold, first):
    section = section_of(mold)
    layers = [Layer("a", D(1)), Layer("b", D(1))]
    lower, upper = stack(
        layers, [first, 100 - first], section=section, fill_height_nm=section.depth_nm
    )
    level = {span.top_nm for span in lower.spans}
    assert len(level) == 1
    held = fill_volume_nl(mold, level.pop())
    assert held == pytest.approx(fill_volume_nl(mold) * first / 100, rel=5e-3)
    assert {span.top_nm for span in upper.spans} == {section.depth_nm}


def test_a_third_rises_alone_and_what_follows_across_levels_it():
    # a box: a third of the whole volume at the left fills that third; the rest levels beside it
    box = section_of(MOLDS["rectangular"])
    left, rest = stack(
        [Layer("a", D(1), Place.LEFT), Layer("b", D(1))],
        [1, 5],
        section=box,
        fill_height_nm=60 * MM,
    )
    assert [(s.third, s.bottom_nm, s.top_nm) for s in left.spans] == [(0, 0, 30 * MM)]
    assert [(s.third, s.bottom_nm) for s in rest.spans] == [(0, 30 * MM), (1, 0), (2, 0)]


def test_a_full_third_sheds_the_rest_beside_it():
    box = section_of(MOLDS["rectangular"])
    (only,) = stack([Layer("a", D(1), Place.RIGHT)], [7], section=box, fill_height_nm=60 * MM)
    assert {(s.third, s.top_nm) for s in only.spans} == {(third, 60 * MM) for third in range(3)}


@given(
    st.lists(st.integers(1, 20), min_size=1, max_size=6),
    st.integers(0, 10**13),
)
def test_the_layers_of_a_portion_sum_to_it_to_the_last_nanogram(parts, mass):
    shares = [D(part * WHOLE // sum(parts)) / WHOLE for part in parts]
    shares[0] += 1 - sum(shares)
    layers = [Layer("a", share) for share in shares] + [Layer("b", D(1))]
    masses = layer_masses(layers, {"a": mass, "b": 17})
    assert sum(masses[:-1]) == mass
    assert masses[-1] == 17


def test_without_layers_each_portion_goes_across_in_its_order():
    portions = [Portion("one", D("0.4")), Portion("two", D("0.6"))]
    assert pour_order((), portions) == (Layer("one", D(1)), Layer("two", D(1)))


def test_every_fault_of_a_pour_order_is_told_at_once():
    faults = Faults()
    layers = [
        Layer("one", D("0.5")),
        Layer("three", D("0.5")),
        Layer("one", D("0.25")),
        Layer("one", D("0")),
        Layer("one", D("0.1234567")),
    ]
    check_layers(layers, [Portion("one", D("0.4")), Portion("two", D("0.6"))], faults)
    assert {(fault.code, fault.field) for fault in faults.found} == {
        ("unknown-portion", "layers.1.portion"),
        ("layer-share", "layers.3.share"),
        ("too-precise", "layers.4.share"),
        ("portion-not-poured-wholly", "layers"),
    }
    assert sum(fault.code == "portion-not-poured-wholly" for fault in faults.found) == 2


def test_a_measured_mold_is_drawn_as_a_box_and_needs_a_depth():
    section = section_of(MeasuredMold(volume_nl=120_000_000, depth_nm=30 * MM))
    assert section.schematic
    assert section.volume(30 * MM) == pytest.approx(120_000_000 * 10**15)
    with pytest.raises(InvalidInput):
        section_of(MeasuredMold(volume_nl=120_000_000))
