"""What is in use from day to day."""

import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.foundation.drawing.timeline import TimelineRow, Use, lanes, timeline
from tests.studio.foundation.drawing.drawn import SVG, check, drawings, texts, words

START = date(2030, 1, 7)
days = st.dates() | st.dates(date(2030, 1, 1), date(2030, 2, 1))
uses = st.lists(st.builds(Use, label=words, start=days, end=days, state=words), max_size=6)
rows = st.lists(st.builds(TimelineRow, label=words, uses=uses), max_size=5)


def day(number):
    return START + timedelta(days=number)


def use(label, start, end, state="in mold"):
    return Use(label=label, start=day(start), end=day(end), state=state)


@settings(max_examples=40)
@given(rows, days, days, days | st.none())
def test_any_uses_are_drawn_and_each_is_in_the_table(given_, first, last, today):
    def drawn():
        return timeline(prefix="t", title="Molds", rows=given_, first=first, last=last, today=today)

    check(drawn())
    assert drawn() == drawn()
    assert drawn().rows == tuple(
        (row.label, use.label, str(use.start), str(use.end), use.state)
        for row in given_
        for use in row.uses
    )


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 9)), max_size=12))
def test_uses_in_a_lane_do_not_overlap(spans):
    made = [use(str(index), start, start + long) for index, (start, long) in enumerate(spans)]
    found = lanes(made)
    assert sorted(u.label for lane in found for u in lane) == sorted(u.label for u in made)
    for lane in found:
        assert all(a.end < b.start for a, b in itertools.pairwise(lane))
    busiest = max((sum(u.start <= day(n) <= u.end for u in made) for n in range(40)), default=0)
    assert len(found) == busiest


def test_the_last_day_of_a_use_belongs_to_it():
    row = TimelineRow(label="Loaf", uses=[use("B-1", 0, 0), use("B-2", 1, 3)])
    chart = timeline(prefix="t", title="Molds", rows=[row], first=day(0), last=day(9))
    for svg in drawings(chart):
        boxes = [r for r in svg.findall(f"{SVG}rect") if r.get("class") == "ch-box"]
        one, three = (float(box.get("width")) for box in boxes)
        assert three == pytest.approx(3 * one, abs=0.3)


def test_today_is_drawn_only_within_the_days():
    row = TimelineRow(label="Loaf", uses=[])
    for today, told in ((day(3), True), (day(30), False), (None, False)):
        chart = timeline(
            prefix="t", title="Molds", rows=[row], first=day(0), last=day(9), today=today
        )
        assert all(("today" in texts(svg)) is told for svg in drawings(chart))


def test_a_code_is_never_cut_in_half():
    row = TimelineRow(label="Loaf", uses=[use("B-123456789012345 Olive", 0, 1)])
    for last in range(2, 40):
        chart = timeline(prefix="t", title="Molds", rows=[row], first=day(0), last=day(last))
        told = [text for svg in drawings(chart) for text in texts(svg) if text.startswith("B-")]
        assert set(told) <= {"B-123456789012345 Olive", "B-123456789012345\N{HORIZONTAL ELLIPSIS}"}


def test_states_are_told_apart_by_pattern():
    states = ("planned", "in mold", "curing", "ready")
    made = [use(state, index, index, state) for index, state in enumerate(states)]
    chart = timeline(
        prefix="t",
        title="Molds",
        rows=[TimelineRow(label="Loaf", uses=made)],
        first=day(0),
        last=day(9),
    )
    for svg in drawings(chart):
        fills = {r.get("fill") for r in svg.findall(f"{SVG}rect") if r.get("fill")}
        assert len(fills) == len(states)
