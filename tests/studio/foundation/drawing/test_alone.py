"""A chart as a file of its own: sound SVG that needs no style sheet and says what it says."""

import re
from datetime import date
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import HealthCheck, given, settings

from studio.foundation.drawing.alone import LOOKS, alone
from studio.foundation.drawing.curve import DayMark, DayValue, curve_with_band
from studio.foundation.drawing.scales import Unit
from tests.recipes.domain.bench.test_pours import MOLDS
from tests.studio.foundation.drawing.drawn import SVG, stays_inside, texts, words
from tests.studio.foundation.drawing.test_days import fitted, marks, points
from tests.studio.foundation.drawing.test_section import picture

STATIC = Path("studio/static/studio")


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(points, fitted, marks, words, words)
def test_any_cure_is_a_file_of_its_own(given_, curve, days, title, note):
    unit = Unit(per_unit=1000, word="g")
    chart = curve_with_band(
        prefix="c", title=title, points=given_, fitted=curve, marks=days, unit=unit, note=note
    )
    svg = ElementTree.fromstring(alone(chart))
    assert not [mark for mark in svg.iter() if mark.get("class") or mark.get("style")]
    stays_inside(svg)


@pytest.mark.parametrize("mold", MOLDS.values(), ids=MOLDS)
def test_any_mold_is_a_file_of_its_own(mold):
    chart = picture(mold, names=[str(number) for number in range(12)])
    svg = ElementTree.fromstring(alone(chart, font="Somewhat Serif"))
    assert svg.get("role") == "img" and svg.get("font-family") == "Somewhat Serif"
    assert svg.find(f"{SVG}desc").text == chart.words
    assert "A pour" in texts(svg)  # the title can be read too
    stays_inside(svg)


def test_words_of_people_stay_words():
    day = date(2026, 3, 3)
    chart = curve_with_band(
        prefix="c",
        title="<script>x</script> & \x00",
        points=[DayValue(on=day, value=1, text='class="x" \'')],
        marks=[DayMark(on=day, label='class="y"')],
        unit=Unit(per_unit=1, word="g"),
        note="A & B <b>",
    )
    svg = alone(chart)
    assert "<script" not in svg and "<b>" not in svg and "&lt;script&gt;" in svg


def test_it_says_what_the_style_sheet_says():
    palette = dict(re.findall(r"--([\w-]+): (#\w+);", _root((STATIC / "studio.css").read_text())))
    palette |= {"paper": "#ffffff", "sheet": "#ffffff"}  # white, as it may be printed
    sheet = re.sub(r"@media print.*", "", (STATIC / "charts.css").read_text(), flags=re.S)
    told = {}
    for selectors, body in re.findall(r"([^{}]+){([^{}]*)}", re.sub(r"/\*.*?\*/", "", sheet)):
        said = dict(re.findall(r"([\w-]+): ([^;]+);", body))
        for selector in selectors.split(","):
            name = re.fullmatch(r"(?:\.ch text)?\.(ch-[\w-]+)", selector.strip())
            if name:
                told.setdefault(name[1], {}).update(said)
    for name, attributes in LOOKS.items():
        for key, value in re.findall(r'([\w-]+)="([^"]+)"', attributes):
            meant = re.sub(r"var\(--([\w-]+)\)", lambda var: palette[var[1]], told[name][key])
            assert value == (f"0{meant}" if meant.startswith(".") else meant), (name, key)


def _root(css):
    return css[css.index(":root {") : css.index("}", css.index(":root {"))]
