"""The drawing is sound SVG whatever was weighed, and nothing is drawn outside of it."""

import re
from datetime import date, timedelta
from xml.etree import ElementTree

from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.domain.cure_drawing import HEIGHT, WIDTH, CurePicture, draw_cure
from recipes.domain.drying import CurvePoint, DayMean, StableDate

G = 10**9
START = date(2026, 3, 3)
days = st.integers(0, 900).map(lambda day: START + timedelta(days=day))
weights = st.integers(1, 10**14)
means = st.lists(st.builds(DayMean, on=days, weight_ng=weights, bars=st.integers(1, 9)), max_size=6)
points = st.lists(
    st.builds(
        CurvePoint,
        on=days,
        weight_ng=weights,
        low_ng=st.none() | st.integers(0, 10**20),
        high_ng=st.none() | st.integers(0, 10**20),
    ),
    max_size=9,
)
stable = st.builds(StableDate, on=days, low=st.none() | days, high=st.none() | days)
NUMBERS = re.compile(r"-?\d+\.?\d*")


def coordinates(root):
    """All x and y of marks; those of absolute paths, circles, texts and rectangles."""
    for mark in root.iter():
        for name in ("x", "cx"):
            if mark.get(name):
                yield float(mark.get(name)), WIDTH
        for name in ("y", "cy"):
            if mark.get(name):
                yield float(mark.get(name)), HEIGHT


@given(
    st.builds(
        CurePicture,
        title=st.text(max_size=40),
        means=means,
        series=points,
        begins=days,
        default_on=days,
        ready_on=days,
        predicted=st.none() | stable,
        message=st.text(max_size=60),
    )
)
@settings(max_examples=60, deadline=None)
def test_any_cure_is_drawn_within_the_page(picture):
    root = ElementTree.fromstring(draw_cure(picture))
    for value, most in coordinates(root):
        assert -1 <= value <= most + 1
    assert all(len(text.text or "") < 200 for text in root.iter("{http://www.w3.org/2000/svg}text"))


def test_words_of_people_stay_words():
    picture = CurePicture(
        title="<script>x</script> & \x00",
        means=(),
        series=(),
        begins=START,
        default_on=START,
        ready_on=START,
        predicted=None,
        message="A & B <b>",
    )
    svg = draw_cure(picture)
    assert "<script" not in svg and "<b>" not in svg
    assert "&lt;script&gt;" in svg
