"""A mold cut through: well-formed, told in words, and no text leaves its frame."""

from decimal import Decimal as D
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.domain.bench.pours import Layer, Place
from recipes.domain.molds.sections import section_of
from recipes.services.molds.drawings import drawn_section
from studio.foundation.drawing.canvas import LAYERS
from tests.recipes.domain.bench.test_pours import MM, MOLDS, shapes
from tests.studio.foundation.drawing.drawn import SVG, check, drawings, texts

PLACES = [Place.ACROSS, Place.LEFT, Place.MIDDLE, Place.RIGHT]


def picture(mold, names=("base", "blue", "gold"), facts=()):
    layers = [
        SimpleNamespace(layer=Layer(name, D(1), PLACES[i % 4]), mass_ng=10**12)
        for i, name in enumerate(names)
    ]
    fill = section_of(mold).depth_nm * 4 // 5
    made = SimpleNamespace(layers=layers)
    return drawn_section("A pour", mold, fill, made=made, facts=facts)


@shapes
def test_every_shape_is_drawn_within_its_frame_and_told_in_words(mold):
    drawn = picture(mold)
    check(drawn, drawn=2)
    assert "Layer 2: blue, left, 1000.0 g" in drawn.words
    for svg in drawings(drawn):
        assert svg.get("role") == "img"
        title, words = svg.find(f"{SVG}title"), svg.find(f"{SVG}desc")
        assert (title.text, words.text) == ("A pour", drawn.words)
        assert svg.get("aria-labelledby").split() == [title.get("id"), words.get("id")]


@shapes
def test_nothing_is_drawn_outside_the_frame(mold):
    facts = [(f"Portion {'W' * 39}", "123456789.0 g")] * 3
    check(picture(mold, names=[f"{'W' * 39}{i}" for i in range(12)], facts=facts))


@settings(max_examples=40)
@given(st.text(min_size=1, max_size=40))
def test_any_name_is_text_and_never_markup(name):
    for svg in drawings(picture(MOLDS["rectangular"], names=(name,), facts=[(name, name)])):
        assert {element.tag for element in svg.iter()} <= {
            SVG + tag
            for tag in ("svg", "title", "desc", "defs", "pattern", "rect", "path", "circle", "text")
        }


def test_each_portion_has_a_pattern_of_its_own_that_needs_no_color():
    names = [f"portion {i}" for i in range(len(LAYERS))]
    for svg in drawings(picture(MOLDS["rectangular"], names=names)):
        fills = [rect.get("fill") for rect in svg.iter(f"{SVG}rect") if rect.get("fill")]
        assert len(fills) == len(set(fills)) == len(names)
    # Only the plain one and one of each kind of strokes.
    assert len({strokes for _, strokes in LAYERS}) == len(LAYERS)


def test_the_list_and_the_table_hold_the_numbers_that_were_drawn():
    drawn = picture(MOLDS["rectangular"], facts=[("In the mold", "1210 mL")])
    assert drawn.rows[1][:3] == ("2", "blue, left", "1000.0 g")
    for svg in drawings(drawn):
        told = set(texts(svg))
        assert {"base, across", "blue, left", "gold, middle", "1000.0 g"} <= told
        assert {"In the mold", "1210 mL", "90 mm wide, 70 mm deep"} <= told


@pytest.mark.parametrize("height", [20, 35, 50])
def test_the_fill_line_stands_at_its_height(height):
    for svg in drawings(drawn_section("x", MOLDS["rectangular"], height * MM)):
        line, walls = (
            [float(pair.split()[1]) for pair in path.get("d").strip("M").split("L")]
            for css in ("ch-fill-line", "ch-wall")
            for path in svg.iter(f"{SVG}path")
            if path.get("class") == css
        )
        share = (max(walls) - line[0]) / (max(walls) - min(walls))
        assert share == pytest.approx(height / 70, abs=0.005)
