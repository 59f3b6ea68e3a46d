"""A drawing is well-formed, says in words what it shows, and no text leaves its frame."""

from decimal import Decimal as D
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.domain.drawing import Picture, draw
from recipes.domain.drawing_marks import FILLS, estimated_width
from recipes.domain.pours import Layer, Place, stack
from recipes.domain.sections import section_of
from tests.recipes.domain.test_pours import MM, MOLDS, shapes

SVG = "{http://www.w3.org/2000/svg}"


def picture(mold, names=("base", "blue", "gold"), **more):
    section = section_of(mold)
    places = [Place.ACROSS, Place.LEFT, Place.MIDDLE, Place.RIGHT]
    layers = [Layer(name, D(1), places[i % 4]) for i, name in enumerate(names)]
    fill = section.depth_nm * 4 // 5
    poured = stack(layers, [10**12] * len(layers), section=section, fill_height_nm=fill)
    return Picture(title="A pour", section=section, fill_height_nm=fill, layers=poured, **more)


def drawn(made):
    return ElementTree.fromstring(draw(made))


@shapes
def test_every_shape_is_drawn_with_title_description_and_role(mold):
    root = drawn(picture(mold))
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text == "A pour"
    description = root.find(f"{SVG}desc").text
    assert "Layer 2: blue, left, 1000.0 g" in description
    assert root.get("aria-labelledby").split() == [
        root.find(f"{SVG}title").get("id"),
        root.find(f"{SVG}desc").get("id"),
    ]


@pytest.mark.parametrize("narrow", [False, True])
@shapes
def test_nothing_is_drawn_outside_the_frame(mold, narrow):
    facts = [(f"Portion {'W' * 39}", "123456789.0 g")] * 3
    made = picture(mold, names=[f"{'W' * 39}{i}" for i in range(12)], facts=facts)
    root = ElementTree.fromstring(draw(made, narrow=narrow))
    _, _, width, height = (float(part) for part in root.get("viewBox").split())
    for text in root.iter(f"{SVG}text"):
        size, x, y = (float(text.get(name)) for name in ("font-size", "x", "y"))
        reach = estimated_width(text.text, size)
        left = {"start": x, "middle": x - reach / 2, "end": x - reach}[text.get("text-anchor")]
        assert left >= 0 and left + reach <= width, text.text
        assert size <= y <= height, text.text


@shapes
def test_on_a_page_the_words_are_not_scaled_below_what_can_be_read(mold):
    root = ElementTree.fromstring(draw(picture(mold), narrow=True))
    _, _, width, _ = (float(part) for part in root.get("viewBox").split())
    assert width <= 358  # what a page of 390 px leaves between its margins
    assert all(
        float(text.get("font-size")) >= 12
        for text in root.iter(f"{SVG}text")
        if not (text.text or "").isdigit()
    )


@settings(max_examples=40)
@given(st.text(min_size=1, max_size=40))
def test_any_name_is_text_and_never_markup(name):
    root = drawn(picture(MOLDS["rectangular"], names=(name,), facts=[(name, name)]))
    assert {element.tag for element in root.iter()} <= {
        SVG + tag
        for tag in ("svg", "title", "desc", "defs", "pattern", "rect", "path", "circle", "text")
    }


def test_each_portion_has_a_pattern_of_its_own_that_needs_no_color():
    names = [f"portion {i}" for i in range(len(FILLS))]
    root = drawn(picture(MOLDS["rectangular"], names=names))
    swatches = [
        rect.get("fill")
        for rect in root.iter(f"{SVG}rect")
        if (rect.get("fill") or "").startswith("url(")
    ]
    assert len(swatches) == len(set(swatches)) == len(names)
    assert len({marks for _, marks in FILLS}) == len(FILLS)


def test_the_table_holds_the_numbers_that_were_drawn():
    root = drawn(picture(MOLDS["rectangular"], facts=[("In the mold", "1210 mL")]))
    words = [text.text for text in root.iter(f"{SVG}text")]
    assert {"base", "blue", "gold", "1000.0 g", "In the mold", "1210 mL"} <= set(words)
    assert "90 mm wide, 70 mm deep" in words


def test_the_fill_line_stands_at_its_height():
    root = drawn(
        Picture(title="x", section=section_of(MOLDS["rectangular"]), fill_height_nm=35 * MM)
    )
    dashed = next(p for p in root.iter(f"{SVG}path") if p.get("stroke-dasharray"))
    walls = next(p for p in root.iter(f"{SVG}path") if p.get("stroke-width") == "4")
    ys = [float(pair.split()[1]) for pair in walls.get("d").strip("M").split("L")]
    y = float(dashed.get("d").split()[1].split("H")[0])
    assert y == pytest.approx((min(ys) + max(ys)) / 2, abs=0.2)
