"""Projected stock as steps: the level after each day, the reorder mark, what will be short."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from studio.foundation.drawing.canvas import Canvas, Chart, Measured, chart
from studio.foundation.drawing.scales import (
    Days,
    Scale,
    Unit,
    draw_day_axis,
    draw_value_axis,
    gutter,
    scale_over,
)

TOP, PLOT = 30.0, 200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """The stock from a day on (below zero: short), in the unit of its chart, and its words."""

    on: date
    level: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StockEvent:
    """What comes in or is needed on a day."""

    on: date
    kind: Literal["delivery", "need"]
    label: str
    text: str


def projected_stock(
    *,
    prefix: str,
    title: str,
    levels: Sequence[Level],
    unit: Unit,
    reorder: Measured | None = None,
    events: Sequence[StockEvent] = (),
) -> Chart:
    """The levels as steps in order of day; below zero the shortage is hatched in red.

    A need is a triangle that points down, a delivery one that points up, both below the days.
    """
    ordered = sorted(levels, key=lambda level: level.on)
    happened = sorted(events, key=lambda event: event.on)
    columns = ("Day", "What", "Amount")
    rows = _rows(ordered, happened, reorder)
    words = _words(ordered)

    def draw(canvas: Canvas) -> None:
        if not ordered:
            canvas.say(words)
            return
        values = [0, *(level.level for level in ordered)]
        values += [reorder.value] if reorder else []
        plot = scale_over(values, start=TOP + PLOT, end=TOP, per_unit=unit.per_unit)
        left = gutter(plot, unit)
        draw_value_axis(canvas, plot, unit, left=left, right=canvas.width)
        on = [level.on for level in ordered] + [event.on for event in happened]
        days = Days(first=min(on), last=max(on), start=left, end=canvas.width - 1)
        _steps(canvas, days, plot, ordered)
        if reorder:
            y = plot.at(reorder.value)
            canvas.line(left, y, canvas.width, y, css="ch-dashed")
        draw_day_axis(canvas, days, TOP + PLOT)
        canvas.height = _below(canvas, days, happened, ordered, reorder)

    return chart(prefix=prefix, title=title, words=words, columns=columns, rows=rows, draw=draw)


def _rows(
    levels: Sequence[Level], events: Sequence[StockEvent], reorder: Measured | None
) -> list[tuple[str, str, str]]:
    rows = [(str(e.on), f"{e.kind.capitalize()}: {e.label}", e.text) for e in events]
    rows += [(str(level.on), "Stock", level.text) for level in levels]
    rows.sort(key=lambda row: row[0])
    return [*rows, ("", "Reorder at", reorder.text)] if reorder else rows


def _words(levels: Sequence[Level]) -> str:
    if not levels:
        return "Nothing is projected."
    told = [f"{levels[0].text} on {levels[0].on}, {levels[-1].text} on {levels[-1].on}."]
    short = next((level for level in levels if level.level < 0), None)
    told.append(f"Short from {short.on}: {short.text}." if short else "Never short.")
    return " ".join(told)


def _steps(canvas: Canvas, days: Days, plot: Scale, levels: Sequence[Level]) -> None:
    points: list[tuple[float, float]] = []
    zero = plot.at(0)
    for level, following in zip(levels, [*levels[1:], None], strict=True):
        start, y = days.at(level.on), plot.at(level.level)
        end = days.at(following.on) if following else days.end
        if level.level < 0:
            canvas.rect(
                start, zero, end - start, y - zero, css="ch-edge-red", fill="short", tip=level.text
            )
        points += [(start, y), (end, y)]
    canvas.path(points, css="ch-line")


def _below(
    canvas: Canvas,
    days: Days,
    events: Sequence[StockEvent],
    levels: Sequence[Level],
    reorder: Measured | None,
) -> float:
    """The row of triangles and the legend; the y below them."""
    y = TOP + PLOT + 30
    entries = []
    if any(level.level < 0 for level in levels):
        entries.append(("ch-edge-red", "short", "short"))
    for kind, css, words in (
        ("delivery", "ch-green-fill", "delivery"),
        ("need", "ch-ink", "need"),
    ):
        happened = [event for event in events if event.kind == kind]
        for event in happened:
            x = min(max(days.at(event.on), days.start), canvas.width - 6)
            canvas.path(_triangle(x, y, up=kind == "delivery"), css=css, closed=True)
        if happened:
            y += 16
            entries.append(("", "", f"{_ARROWS[kind]} {words}"))
    if reorder:
        entries.append(("", "", f"\N{EN DASH} \N{EN DASH} reorder at {reorder.text}"))
    return canvas.legend(y + 6, entries) if entries else y


_ARROWS = {
    "delivery": "\N{BLACK UP-POINTING TRIANGLE}",
    "need": "\N{BLACK DOWN-POINTING TRIANGLE}",
}


def _triangle(x: float, y: float, *, up: bool) -> list[tuple[float, float]]:
    base, tip = (y + 10, y) if up else (y, y + 10)
    return [(x - 5.5, base), (x + 5.5, base), (x, tip)]
