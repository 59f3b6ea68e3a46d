"""Values over days: a price's history, and a fitted curve with its band and the days that count."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from studio.foundation.drawing.canvas import SMALL, Canvas, Chart, chart
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
#: Marks nearer than this would write their numbers over one another.
NEAR = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DayValue:
    """What was measured or paid on a day, in the unit of its chart, and its words."""

    on: date
    value: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedValue:
    """A point of a fitted curve and the band it may lie in (None: no band there)."""

    on: date
    value: int
    low: int | None = None
    high: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DayMark:
    """A day that counts and why, such as the day a cure is predicted to end.

    `low` and `high` are the first and the last day that it may be, where that is known.
    """

    on: date
    label: str
    low: date | None = None
    high: date | None = None


def line_history(*, prefix: str, title: str, points: Sequence[DayValue], unit: Unit) -> Chart:
    """Values that each hold until the next, such as the prices paid for a material."""
    ordered = sorted(points, key=lambda point: point.on)
    words = "; ".join(f"{p.on}: {p.text}" for p in ordered) + "." if ordered else "No values yet."

    def draw(canvas: Canvas) -> None:
        if not ordered:
            canvas.say(words)
            return
        plot = scale_over(
            [0, *(p.value for p in ordered)], start=TOP + PLOT, end=TOP, per_unit=unit.per_unit
        )
        days = _frame(canvas, plot, unit, [p.on for p in ordered])
        steps: list[tuple[float, float]] = []
        for point in ordered:
            x, y = days.at(point.on), plot.at(point.value)
            steps += [(x, steps[-1][1]), (x, y)] if steps else [(x, y)]
        canvas.path(steps, css="ch-curve")
        _rings(canvas, days, plot, ordered)

    return chart(
        prefix=prefix,
        title=title,
        words=words,
        columns=("Day", "Value"),
        rows=[(str(p.on), p.text) for p in ordered],
        draw=draw,
    )


def curve_with_band(
    *,
    prefix: str,
    title: str,
    points: Sequence[DayValue],
    unit: Unit,
    fitted: Sequence[FittedValue] = (),
    marks: Sequence[DayMark] = (),
    note: str = "",
) -> Chart:
    """What was measured as rings, the fitted curve with its band, and the days that count.

    A band wider than three times what was measured is cut off, or the curve would be a line in it.
    `note` stands below, such as why there is no curve.
    """
    ordered = sorted(points, key=lambda point: point.on)
    curve = sorted(fitted, key=lambda point: point.on)
    told = sorted(marks, key=lambda mark: mark.on)
    rows = _rows(ordered, told)
    words = _words(rows, note)

    def draw(canvas: Canvas) -> None:
        if not (ordered or curve or told):
            canvas.say(words)
            return
        _with_band(canvas, unit, ordered, curve, told)
        if note:
            canvas.height += 17 * canvas.lines(0, canvas.height + 13, note, within=canvas.width) + 4

    return chart(
        prefix=prefix,
        title=title,
        words=words,
        columns=("Day", "What", "Value"),
        rows=rows,
        draw=draw,
    )


def _with_band(
    canvas: Canvas,
    unit: Unit,
    ordered: Sequence[DayValue],
    curve: Sequence[FittedValue],
    told: Sequence[DayMark],
) -> None:
    values = _in_sight(ordered, curve)
    plot = scale_over(values, start=TOP + PLOT, end=TOP, per_unit=unit.per_unit)
    on = [p.on for p in ordered] + [p.on for p in curve] + [mark.on for mark in told]
    days = _frame(canvas, plot if values else None, unit, on)
    _curve(canvas, days, plot, curve)
    _marks(canvas, days, told)
    _rings(canvas, days, plot, ordered)
    _legend(canvas, ordered, curve, told)


def _words(rows: Sequence[tuple[str, str, str]], note: str) -> str:
    told = " ".join(f"{' '.join(row).strip()}." for row in rows) or "Nothing was measured yet."
    return f"{told} {note}".strip()


def _rows(points: Sequence[DayValue], marks: Sequence[DayMark]) -> list[tuple[str, str, str]]:
    rows = [(str(point.on), "Measured", point.text) for point in points]
    rows += [(str(mark.on), mark.label, "") for mark in marks]
    return sorted(rows, key=lambda row: row[0])


def _frame(canvas: Canvas, plot: Scale | None, unit: Unit, on: Sequence[date]) -> Days:
    """The axes; only that of days where nothing has a value."""
    left = gutter(plot, unit) if plot else 0.0
    if plot:
        draw_value_axis(canvas, plot, unit, left=left, right=canvas.width)
    canvas.height = TOP + PLOT + 28
    days = Days(first=min(on), last=max(on), start=left + 6, end=canvas.width - 6)
    draw_day_axis(canvas, days, TOP + PLOT)
    return days


def _in_sight(points: Sequence[DayValue], curve: Sequence[FittedValue]) -> list[int]:
    values = [p.value for p in points] + [p.value for p in curve]
    if not values:
        return []
    low, high = min(values), max(values)
    reach = max(high - low, abs(high) // 50, 1)
    bands = [end for p in curve for end in (p.low, p.high) if end is not None]
    return values + [min(max(end, low - reach), high + reach) for end in bands]


def _rings(canvas: Canvas, days: Days, plot: Scale, points: Sequence[DayValue]) -> None:
    for point in points:
        canvas.circle(days.at(point.on), plot.at(point.value), 4.5, css="ch-dot")


def _curve(canvas: Canvas, days: Days, plot: Scale, curve: Sequence[FittedValue]) -> None:
    upper = [(days.at(p.on), plot.at(p.high)) for p in curve if p.high is not None]
    lower = [(days.at(p.on), plot.at(p.low)) for p in curve if p.low is not None]
    if upper and lower:
        canvas.path([*upper, *reversed(lower)], css="ch-edge-ash", fill="band", closed=True)
    canvas.path([(days.at(p.on), plot.at(p.value)) for p in curve], css="ch-curve")


def _marks(canvas: Canvas, days: Days, marks: Sequence[DayMark]) -> None:
    """An upright line for each day, numbered on top; the legend says which is which."""
    places = [days.at(mark.on) for mark in marks]
    for number, x in enumerate(places, start=1):
        canvas.line(x, TOP, x, TOP + PLOT, css="ch-dashed")
        # Numbers of days that are close stand apart, each on the outer side of its line.
        crowds = [other - x for other in places if 0 < abs(other - x) < NEAR]
        anchor = "middle" if not crowds else "end" if crowds[0] > 0 else "start"
        anchor = "end" if x > canvas.width - 12 else anchor
        canvas.text(x, TOP - 6, str(number), size=SMALL, anchor=anchor, css="ch-bold")
    for mark in marks:
        if mark.low is not None and mark.high is not None:
            start, end, y = days.at(mark.low), days.at(mark.high), TOP + PLOT - 8
            canvas.line(start, y, end, y)
            canvas.line(start, y - 5, start, y + 5)
            canvas.line(end, y - 5, end, y + 5)


def _legend(
    canvas: Canvas,
    points: Sequence[DayValue],
    curve: Sequence[FittedValue],
    marks: Sequence[DayMark],
) -> None:
    y = canvas.height + 4
    for number, mark in enumerate(marks, start=1):
        canvas.text(0, y + 11, f"{number}  {mark.on}  {mark.label}", size=SMALL)
        y += 20
    entries = [("", "", "\N{WHITE CIRCLE} measured")] if points else []
    if curve:
        entries.append(("ch-solid", "", "fitted curve"))
    if any(p.low is not None and p.high is not None for p in curve):
        entries.append(("ch-edge-ash", "band", "where it may lie"))
    canvas.height = canvas.legend(y + 4, entries) if entries else y
