"""What every chart must keep, read back from its SVG."""

import re
from xml.etree import ElementTree

from hypothesis import strategies as st

from studio.foundation.drawing.canvas import Chart, estimated_width

SVG = "{http://www.w3.org/2000/svg}"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
#: Half the thickness of a line, and what rounding to a tenth may add.
SLACK = 0.6

words = st.text(max_size=60) | st.sampled_from(
    ("<b>&\"'", "]]>", "\x00\x0b", "\u202eright to left", "石けん" * 12, "a" * 200, "é\u0301👍🏽")
)
amounts = st.integers(-(10**6), 10**6) | st.integers(-(10**40), 10**40)


def drawings(chart: Chart):
    """The parsed drawings of a chart."""
    return list(ElementTree.fromstring(f"<div>{chart.svg}</div>"))


def _pictures(chart: Chart):
    return list(ElementTree.fromstring(f"<div>{chart.svg}</div>").iter(f"{SVG}svg"))


def texts(svg):
    return [element.text or "" for element in svg.iter(f"{SVG}text")]


def check(chart: Chart, *, drawn: int | None = None):
    """A chart is well-formed, described, keeps its marks inside, and names no style or address."""
    parsed = _pictures(chart)
    assert parsed and drawn in (None, len(parsed))
    ids = [element.get("id") for svg in parsed for element in svg.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    assert " style=" not in re.sub(r">[^<]*<|\"[^\"]*\"", "", chart.svg)
    assert {len(row) for row in chart.rows} <= {len(chart.columns)}
    for svg in parsed:
        assert svg.tag == f"{SVG}svg" and svg.get("role") in {"img", "group"}
        assert set((svg.get("aria-labelledby") or "").split()) <= set(ids)
        for reference in re.findall(r"url\(#([^)]+)\)", ElementTree.tostring(svg, "unicode")):
            assert reference in ids
        stays_inside(svg)


def stays_inside(svg):
    """No mark and no letter leaves the frame, and none is too small to be read."""
    left, top, width, height = (float(part) for part in svg.get("viewBox").split())
    patterns = {id(part) for pattern in svg.iter(f"{SVG}pattern") for part in pattern.iter()}
    for element in svg.iter():
        if id(element) in patterns:
            continue
        for x, y in _corners(element):
            assert left - SLACK <= x <= left + width + SLACK, ElementTree.tostring(element)
            assert top - SLACK <= y <= top + height + SLACK, ElementTree.tostring(element)


def _corners(element):
    read = (
        {name: float(element.get(name, 0)) for name in ("x", "y", "width", "height")}
        if (element.tag in {f"{SVG}rect", f"{SVG}text"})
        else {}
    )
    if element.tag == f"{SVG}rect":
        yield read["x"], read["y"]
        yield read["x"] + read["width"], read["y"] + read["height"]
    elif element.tag == f"{SVG}circle":
        x, y, r = (float(element.get(name)) for name in ("cx", "cy", "r"))
        yield x - r, y - r
        yield x + r, y + r
    elif element.tag == f"{SVG}path":
        numbers = [float(number) for number in NUMBER.findall(element.get("d"))]
        yield from zip(numbers[::2], numbers[1::2], strict=True)
    elif element.tag == f"{SVG}text":
        size = float(element.get("font-size"))
        assert size >= 12
        width = estimated_width(element.text or "", size)
        start = {"start": 0.0, "middle": width / 2, "end": width}[element.get("text-anchor")]
        yield read["x"] - start, read["y"] - size * 0.8
        yield read["x"] - start + width, read["y"]
