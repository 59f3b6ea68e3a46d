"""Amounts that add up: bars that each begin where the last ended; the total stands below them."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from studio.foundation.drawing.canvas import SIZE, Canvas, Chart, chart, wrapped
from studio.foundation.drawing.scales import Scale, scale_over

LABELS, AMOUNTS, BAR = 240.0, 104.0, 22.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One amount (whole, such as money in ten-thousandths; below zero for what is taken off)."""

    label: str
    amount: int
    text: str


def waterfall(*, prefix: str, title: str, steps: Sequence[Step], total: Step) -> Chart:
    """The steps in their order and the total that they end in.

    What is taken off is hatched and in green; `text` of each is what the table and the drawing say.
    """
    rows = [(step.label, step.text) for step in (*steps, total)]
    words = "; ".join(f"{label}: {text}" for label, text in rows) + "."
    sums = [0]
    for step in steps:
        sums.append(sums[-1] + step.amount)
    values = [*sums, total.amount]

    def draw(canvas: Canvas) -> None:
        scale = _scale(canvas, values)
        y = 4.0
        for index, step in enumerate(steps):
            y = _step(canvas, scale, step, sums[index], y)
        if not canvas.is_narrow:
            canvas.line(scale.at(0), 0, scale.at(0), y, css="ch-axis")
        canvas.line(0, y, canvas.width, y, css="ch-axis")
        canvas.height = _step(canvas, scale, total, None, y + 6)

    return chart(
        prefix=prefix, title=title, words=words, columns=("Step", "Amount"), rows=rows, draw=draw
    )


def _scale(canvas: Canvas, values: Sequence[int]) -> Scale:
    start = 1.0 if canvas.is_narrow else LABELS
    end = canvas.width - (1.0 if canvas.is_narrow else AMOUNTS)
    low, high = min(0, *values), max(0, *values)
    if low == high:
        return scale_over([0], start=start, end=end)
    return Scale(low=Fraction(low), high=Fraction(high), start=start, end=end)


def _step(canvas: Canvas, scale: Scale, step: Step, before: int | None, y: float) -> float:
    """One row at y; the y of the next."""
    room = (canvas.width - AMOUNTS if canvas.is_narrow else LABELS) - 12
    lines = max(len(wrapped(step.label, width=room, size=SIZE, most=2)), 1)
    bold = "ch-bold" if before is None else ""
    canvas.lines(0, y + 16, step.label, within=room, css=bold)
    canvas.text(canvas.width, y + 16, step.text, anchor="end", css=bold, within=AMOUNTS - 4)
    top = y + 17 * lines + 7 if canvas.is_narrow else y + (17 * lines - BAR) / 2 + 2
    begin = before or 0
    ends = sorted((scale.at(begin), scale.at(begin + step.amount)))
    css, fill = ("ch-ink", "") if before is None else ("ch-solid", "")
    if before is not None and step.amount < 0:
        css, fill = "ch-edge-green", "credit"
    height = 14.0 if canvas.is_narrow else BAR
    canvas.rect(
        min(ends[0], scale.end - 1), top, max(ends[1] - ends[0], 1), height, css=css, fill=fill
    )
    bottom = max(top + height, y + 17 * lines) + 10
    if before is not None and not canvas.is_narrow:
        end = scale.at(begin + step.amount)
        canvas.line(end, top + height, end, bottom + 2, css="ch-dotted")
    return bottom
