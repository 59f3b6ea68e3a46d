"""Stock as a bar: free stock solid, reserved stock hatched, what is reserved beyond it in red."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from studio.foundation.drawing.canvas import SMALL, Canvas, Chart, Measured, chart, estimated_width
from studio.foundation.drawing.scales import Scale, scale_over

ROW_WIDTH, ROW_HEIGHT = 128.0, 20.0
COLUMNS = ("Stock", "Amount")


def stock_bar(
    *,
    prefix: str,
    title: str,
    on_hand: Measured,
    reserved: Measured,
    mark: Measured | None = None,
    scale_max: int = 0,
    size: Literal["row", "large"] = "large",
) -> Chart:
    """What is on hand, the part of it that is reserved, and the mark to reorder at.

    All values in one unit. `scale_max` is the value at the bar's far end, so that bars of one
    material compare; the bar is never cut off. `row` is small enough for a line of a table.
    """
    stock = _Stock(on_hand=on_hand, reserved=reserved, mark=mark)
    rows, words = stock.rows(), stock.words()
    top = max(0, scale_max, *stock.values())
    if size == "row":
        canvas = Canvas(prefix=prefix, width=ROW_WIDTH, height=ROW_HEIGHT)
        scale = Scale(low=Fraction(0), high=Fraction(top or 1), start=1, end=ROW_WIDTH - 1)
        _bar(canvas, scale, stock, top=4, height=12)
        svg = canvas.svg(title=title, words=words, css="ch ch-row")
        return Chart(
            svg=svg, canvas=canvas, columns=COLUMNS, rows=tuple(rows), title=title, words=words
        )

    def draw(canvas: Canvas) -> None:
        _large(canvas, scale_over([0, top], start=1, end=canvas.width - 1), stock)

    return chart(prefix=prefix, title=title, words=words, columns=COLUMNS, rows=rows, draw=draw)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stock:
    on_hand: Measured
    reserved: Measured
    mark: Measured | None

    @property
    def is_short(self) -> bool:
        return self.reserved.value > self.on_hand.value

    def values(self) -> list[int]:
        mark = [self.mark.value] if self.mark else []
        return [self.on_hand.value, self.reserved.value, *mark]

    def rows(self) -> list[tuple[str, str]]:
        mark = [("Reorder at", self.mark.text)] if self.mark else []
        return [("On hand", self.on_hand.text), ("Reserved", self.reserved.text), *mark]

    def words(self) -> str:
        told = ". ".join(f"{name} {text}" for name, text in self.rows()) + "."
        return f"{told} More is reserved than is on hand." if self.is_short else told


def _large(canvas: Canvas, scale: Scale, stock: _Stock) -> None:
    top = 30.0 if stock.mark else 8.0
    _bar(canvas, scale, stock, top=top, height=28)
    if stock.mark:
        _mark_label(canvas, scale.at(stock.mark.value), f"reorder at {stock.mark.text}")
    short = [("ch-edge-red", "short", "reserved beyond it")] if stock.is_short else []
    canvas.height = canvas.legend(
        top + 44,
        [
            ("ch-solid", "", f"on hand: {stock.on_hand.text}"),
            ("ch-edge", "reserved", f"reserved: {stock.reserved.text}"),
            *short,
        ],
    )


def _bar(canvas: Canvas, scale: Scale, stock: _Stock, *, top: float, height: float) -> None:
    on_hand, reserved, mark = stock.on_hand, stock.reserved, stock.mark
    zero, full, held = scale.at(0), scale.at(on_hand.value), scale.at(reserved.value)
    free = scale.at(max(on_hand.value - reserved.value, 0))
    canvas.rect(scale.start, top, scale.end - scale.start, height, css="ch-room")
    canvas.rect(zero, top, free - zero, height, css="ch-solid")
    if full > free:
        canvas.rect(free, top, full - free, height, css="ch-edge", fill="reserved")
    if held > full:
        canvas.rect(full, top, held - full, height, css="ch-edge-red", fill="short")
    if mark:
        x = scale.at(mark.value)
        # A light line at both sides keeps the tick in sight on a dark bar.
        begin, end = max(x - 2.5, 0), min(x + 2.5, canvas.width)
        canvas.rect(begin, top - 4, end - begin, height + 8, css="ch-ground")
        canvas.rect(x - 1, top - 4, 2, height + 8, css="ch-ink")


def _mark_label(canvas: Canvas, x: float, words: str) -> None:
    half = estimated_width(words, SMALL) / 2
    place = min(max(x, half), max(canvas.width - half, half))
    if 2 * half > canvas.width:
        canvas.text(0, 16, words, size=SMALL)
    else:
        canvas.text(place, 16, words, size=SMALL, anchor="middle")
