"""Shares as bars, each beside the range that a standard gives for it."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from studio.foundation.drawing.canvas import SIZE, SMALL, Canvas, Chart, chart, wrapped
from studio.foundation.drawing.scales import Scale, scale_over, tick_text

LABELS, TEXTS = 190.0, 170.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RangedShare:
    """A share (0.05 is 5 %), the range it is compared with (None where open), and their words."""

    label: str
    share: Decimal
    text: str
    low: Decimal | None = None
    high: Decimal | None = None
    range_text: str = ""

    @property
    def verdict(self) -> str:
        """Where the share lies, in a word; empty without a range."""
        if self.low is not None and self.share < self.low:
            return "below"
        if self.high is not None and self.share > self.high:
            return "above"
        return "within" if self.low is not None or self.high is not None else ""


def bars_with_band(
    *, prefix: str, title: str, bars: Sequence[RangedShare], range_name: str = "Range"
) -> Chart:
    """Shares as bars; behind each the range of `range_name` as a dotted band."""
    with_range = any(bar.verdict for bar in bars)
    columns = ("Part", "Share", range_name, "Place") if with_range else ("Part", "Share")
    rows = [(bar.label, bar.text, bar.range_text, bar.verdict)[: len(columns)] for bar in bars]
    words = (
        "; ".join(" ".join(part for part in row if part) for row in rows) + "."
        if bars
        else "Nothing to show yet."
    )

    def draw(canvas: Canvas) -> None:
        if not bars:
            canvas.say("Nothing to show yet.")
            return
        start = 1.0 if canvas.is_narrow else LABELS
        end = canvas.width - (22.0 if canvas.is_narrow else TEXTS)
        scale = scale_over(_values(bars), start=start, end=end, most=5)
        y = 0.0
        for bar in bars:
            y = _bar(canvas, scale, bar, y)
        _axis(canvas, scale, y)
        y += 34
        if with_range:
            entries = [("ch-solid", "", "share"), ("ch-edge-ash", "band", range_name)]
            y = canvas.legend(y, entries)
        canvas.height = y

    return chart(prefix=prefix, title=title, words=words, columns=columns, rows=rows, draw=draw)


def _values(bars: Sequence[RangedShare]) -> list[int | Fraction]:
    ends = [end for bar in bars for end in (bar.share, bar.low, bar.high) if end is not None]
    return [0, *(Fraction(end) for end in ends)]


def _axis(canvas: Canvas, scale: Scale, y: float) -> None:
    canvas.line(scale.start, y, scale.end, y, css="ch-axis")
    for value in scale.ticks():
        x = scale.at(value)
        canvas.line(x, y, x, y + 5, css="ch-axis")
        anchor = "start" if x < 20 else "middle"
        words = f"{tick_text(value * 100)} %"
        canvas.text(x, y + 19, words, size=SMALL, anchor=anchor, css="ch-quiet")


def _bar(canvas: Canvas, scale: Scale, bar: RangedShare, y: float) -> float:
    """One row at y; the y of the next."""
    told = f"{bar.text} \N{MIDDLE DOT} {bar.verdict}" if bar.verdict else bar.text
    css = "" if bar.verdict in ("", "within") else "ch-bold"
    room = (canvas.width - TEXTS if canvas.is_narrow else LABELS) - 12
    lines = max(len(wrapped(bar.label, width=room, size=SIZE, most=2)), 1)
    first = y + 16 if canvas.is_narrow or lines > 1 else y + 23
    canvas.lines(0, first, bar.label, within=room)
    canvas.text(canvas.width, first, told, anchor="end", css=css, within=TEXTS - 4)
    top = y + 17 * lines + 7 if canvas.is_narrow else y + 6
    if bar.verdict:
        low = scale.at(Fraction(bar.low)) if bar.low is not None else scale.start
        high = scale.at(Fraction(bar.high)) if bar.high is not None else scale.end
        begin, end = sorted((low, high))
        begin = min(begin, scale.end - 2)
        width = max(end - begin, 2)
        canvas.rect(begin, top, width, 24, css="ch-edge-ash", fill="band", tip=bar.range_text)
    zero, share = sorted((scale.at(0), scale.at(Fraction(bar.share))))
    canvas.rect(zero, top + 7, share - zero, 10, css="ch-solid")
    return max(top + 24 + 8, y + 17 * lines + 8)
