"""Projected stock, price histories and fitted curves."""

import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.foundation.drawing.canvas import Measured
from studio.foundation.drawing.curve import (
    DayMark,
    DayValue,
    FittedValue,
    curve_with_band,
    line_history,
)
from studio.foundation.drawing.projected import Level, StockEvent, projected_stock
from studio.foundation.drawing.scales import Unit
from tests.studio.foundation.drawing.drawn import SVG, amounts, check, drawings, texts, words

days = st.dates() | st.dates(date(2030, 1, 1), date(2030, 3, 1))
units = st.builds(Unit, per_unit=st.sampled_from((1, 10_000, 10**12)), word=words)
levels = st.lists(st.builds(Level, on=days, level=amounts, text=words), max_size=12)
events = st.lists(
    st.builds(
        StockEvent, on=days, kind=st.sampled_from(("delivery", "need")), label=words, text=words
    ),
    max_size=6,
)
points = st.lists(st.builds(DayValue, on=days, value=amounts, text=words), max_size=12)
fitted = st.lists(
    st.builds(
        FittedValue, on=days, value=amounts, low=amounts | st.none(), high=amounts | st.none()
    ),
    max_size=12,
)
marks = st.lists(
    st.builds(DayMark, on=days, label=words, low=st.none() | days, high=st.none() | days),
    max_size=3,
)
START = date(2030, 1, 7)
KG = Unit(per_unit=1000, word="kg")


def level(day, amount):
    return Level(on=START + timedelta(days=day), level=amount, text=f"{amount} g")


@settings(max_examples=40)
@given(levels, events, st.none() | st.builds(Measured, value=amounts, text=words), units)
def test_any_projection_is_drawn_and_all_of_it_is_in_the_table(given_, happened, reorder, unit):
    def drawn():
        return projected_stock(
            prefix="p", title="Oil", levels=given_, events=happened, reorder=reorder, unit=unit
        )

    check(drawn())
    assert drawn() == drawn()
    told = [row[2] for row in drawn().rows]
    expected = [thing.text for thing in (*given_, *happened, *([reorder] if reorder else []))]
    assert sorted(told) == sorted(expected)


def test_only_what_is_short_is_hatched():
    chart = projected_stock(
        prefix="p", title="Oil", unit=KG, levels=[level(0, 500), level(4, -250), level(8, 100)]
    )
    assert "Short from 2030-01-11: -250 g." in chart.svg
    for svg in drawings(chart):
        short = [r for r in svg.findall(f"{SVG}rect") if "short" in r.get("fill", "")]
        assert len(short) == 2  # one in the legend
        wide = max(float(r.get("width")) for r in short)
        (steps,) = (p for p in svg.findall(f"{SVG}path") if p.get("class") == "ch-line")
        across = [float(p.split()[0]) for p in steps.get("d")[1:].split("L")]
        assert wide == pytest.approx((across[-1] - across[0]) / 2, abs=0.3)


def test_stock_that_lasts_is_said_to_last():
    chart = projected_stock(prefix="p", title="Oil", unit=KG, levels=[level(0, 5), level(9, 0)])
    assert "Never short." in chart.svg and "short)" not in chart.svg


@settings(max_examples=40)
@given(points, units, words)
def test_any_history_is_drawn(given_, unit, title):
    chart = line_history(prefix="h", title=title, points=given_, unit=unit)
    check(chart)
    assert chart == line_history(prefix="h", title=title, points=given_, unit=unit)
    assert sorted(row[1] for row in chart.rows) == sorted(point.text for point in given_)
    for svg in drawings(chart):
        assert len(svg.findall(f"{SVG}circle")) == len(given_)


@settings(max_examples=40)
@given(points, fitted, marks, units, words)
def test_any_curve_is_drawn(given_, curve, told, unit, note):
    def drawn():
        return curve_with_band(
            prefix="c", title="C", points=given_, fitted=curve, marks=told, unit=unit, note=note
        )

    check(drawn())
    assert drawn() == drawn()
    rows = [(row[0], row[2]) for row in drawn().rows if row[1] == "Measured"]
    assert sorted(rows) == sorted((str(point.on), point.text) for point in given_)


@pytest.mark.parametrize(("apart", "anchors"), [(1, ["end", "start"]), (40, ["middle", "middle"])])
def test_the_numbers_of_close_days_stand_apart(apart, anchors):
    marks = [DayMark(on=START + timedelta(days=30 + day), label="over") for day in (0, apart)]
    ends = [DayValue(on=START + timedelta(days=day), value=1, text="1") for day in (0, 100)]
    drawn = curve_with_band(prefix="c", title="Cure", points=ends, marks=marks, unit=KG)
    check(drawn)
    for svg in drawings(drawn):
        numbers = {"1": "", "2": ""}
        for text in svg.iter(f"{SVG}text"):
            if text.get("class") == "ch-bold":
                numbers[text.text] = text.get("text-anchor")
        assert list(numbers.values()) == anchors


@pytest.mark.parametrize("span", [0, 1, 6, 30, 300, 3000])
def test_days_are_named_without_touching(span):
    ends = [
        DayValue(on=START + timedelta(days=day), value=1, text="1") for day in sorted({0, span})
    ]
    for svg in drawings(line_history(prefix="h", title="Price", points=ends, unit=KG)):
        named = sorted(
            float(t.get("x")) for t in svg.iter(f"{SVG}text") if t.get("text-anchor") == "middle"
        )
        assert named and all(b - a > 40 for a, b in itertools.pairwise(named))


def test_where_nothing_is_known_that_is_said():
    chart = curve_with_band(prefix="c", title="Cure", points=[], unit=KG)
    assert texts(drawings(chart)[0]) == ["Nothing was measured yet."]
