"""Stock bars and waterfalls."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.foundation.drawing.canvas import Measured
from studio.foundation.drawing.stock_bar import stock_bar
from studio.foundation.drawing.waterfall import Step, waterfall
from tests.studio.foundation.drawing.drawn import SVG, amounts, check, drawings, texts, words

stock = st.builds(Measured, value=st.integers(0, 10**40), text=words)
steps = st.lists(st.builds(Step, label=words, amount=amounts, text=words), max_size=12)


def measured(value):
    return Measured(value=value, text=f"{value} g")


def widths(svg, css):
    return [
        float(rect.get("width"))
        for rect in svg.iter(f"{SVG}rect")
        if css in (rect.get("class") or "").split() and float(rect.get("height")) > 12
    ]


@settings(max_examples=40)
@given(stock, stock, stock | st.none(), st.integers(0, 10**40), words)
def test_any_stock_is_drawn(on_hand, reserved, mark, scale_max, title):
    for size, drawn in (("large", 2), ("row", 1)):
        given_ = {"on_hand": on_hand, "reserved": reserved, "mark": mark, "scale_max": scale_max}
        chart = stock_bar(prefix="s", title=title, size=size, **given_)
        check(chart, drawn=drawn)
        assert chart == stock_bar(prefix="s", title=title, size=size, **given_)
        told = [row[1] for row in chart.rows]
        assert told == [m.text for m in (on_hand, reserved, mark) if m is not None]


def test_free_stock_and_reserved_stock_have_their_lengths():
    chart = stock_bar(prefix="s", title="Oil", on_hand=measured(400), reserved=measured(100))
    for svg in drawings(chart):
        (free,) = widths(svg, "ch-solid")
        (held,) = widths(svg, "ch-edge")
        assert free == pytest.approx(3 * held, abs=0.3)


def test_what_is_reserved_beyond_the_stock_is_told_by_pattern_and_in_words():
    chart = stock_bar(prefix="s", title="Oil", on_hand=measured(100), reserved=measured(400))
    assert "More is reserved than is on hand." in chart.svg
    for svg in drawings(chart):
        assert widths(svg, "ch-solid") == [0]
        (short,) = widths(svg, "ch-edge-red")
        (held,) = (w for w in widths(svg, "ch-edge") if w > 20)
        assert short == pytest.approx(3 * held, abs=0.3)


@settings(max_examples=40)
@given(steps, amounts, words)
def test_any_steps_are_drawn_and_each_amount_is_in_the_table(given_steps, amount, title):
    total = Step(label="Total", amount=amount, text=str(amount))
    chart = waterfall(prefix="w", title=title, steps=given_steps, total=total)
    check(chart)
    assert chart == waterfall(prefix="w", title=title, steps=given_steps, total=total)
    assert chart.rows == tuple((step.label, step.text) for step in (*given_steps, total))


def test_each_step_begins_where_the_last_ended():
    amounts_ = (500, -200, 300)
    chart = waterfall(
        prefix="w",
        title="Bar",
        steps=[Step(label=str(a), amount=a, text=str(a)) for a in amounts_],
        total=Step(label="Total", amount=600, text="600"),
    )
    for svg in drawings(chart):
        bars = [(float(r.get("x")), float(r.get("width"))) for r in svg.findall(f"{SVG}rect")]
        zero, unit = bars[3][0], bars[3][1] / 600
        assert [round((x - zero) / unit) for x, _ in bars] == [0, 300, 300, 0]
        assert [round(width / unit) for _, width in bars] == [500, 200, 300, 600]


def test_text_is_escaped():
    step = Step(label='<script>"&', amount=1, text="1")
    chart = waterfall(prefix="w", title="<&>", steps=[step], total=step)
    assert "<script" not in chart.svg
    assert '<script>"&' in texts(drawings(chart)[1])
