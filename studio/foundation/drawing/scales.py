"""From numbers and days to lengths, and the round numbers and days that an axis names.

Values are whole numbers of any size; they are divided only to find a place on the page.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from math import ceil, floor

from studio.foundation.drawing.canvas import SMALL, Canvas, estimated_width


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """What an axis is in: how many of its values make one, and the word beside the numbers."""

    per_unit: int
    word: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A straight scale from values to places; a value outside it is drawn at its end."""

    low: Fraction
    high: Fraction
    start: float
    end: float
    step: Fraction = Fraction(0)

    def at(self, value: int | Fraction) -> float:
        """The place of a value."""
        part = float((value - self.low) / (self.high - self.low))
        return self.start + (self.end - self.start) * min(max(part, 0.0), 1.0)

    def ticks(self) -> list[Fraction]:
        """The round values within it."""
        count = floor((self.high - self.low) / self.step)
        return [self.low + self.step * index for index in range(count + 1)]


def round_step(step: Fraction) -> Fraction:
    """The least 1, 2 or 5 times a power of ten that is no less than a step above zero."""
    power = Fraction(1)
    while power > step:
        power /= 10
    while power * 10 <= step:
        power *= 10
    return next(power * times for times in (1, 2, 5, 10) if power * times >= step)


def scale_over(
    values: Sequence[int | Fraction],
    *,
    start: float,
    end: float,
    per_unit: int = 1,
    most: int = 5,
) -> Scale:
    """A scale over values that begins and ends at round numbers of the unit."""
    low, high = (Fraction(min(values)), Fraction(max(values))) if values else (Fraction(0),) * 2
    if low == high:
        low, high = (min(low, Fraction(0)), max(high, Fraction(0)))
    if low == high:
        high = low + per_unit
    step = round_step((high - low) / most / per_unit) * per_unit
    return Scale(
        low=floor(low / step) * step,
        high=ceil(high / step) * step,
        start=start,
        end=end,
        step=step,
    )


def tick_text(value: Fraction, *, per_unit: int = 1) -> str:
    """A round value as an axis writes it; very large ones by their power of ten."""
    number = value / per_unit
    if abs(number) >= 10**9:
        digits = f"{float(number):.3g}" if abs(number) < 10**300 else "over 1e300"
        return digits.replace("e+", "e")
    if number.denominator == 1:
        return f"{number.numerator:,}"
    return f"{float(number):,.9f}".rstrip("0").rstrip(".")


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """A straight scale over days; with `whole` the last day is drawn to its end."""

    first: date
    last: date
    start: float
    end: float
    whole: bool = False

    @property
    def count(self) -> int:
        """How many days long it is, at least one."""
        return max((self.last - self.first).days + self.whole, 1)

    def at(self, on: date, *, after: bool = False) -> float:
        """Where a day begins, or with `after` where it ends."""
        part = ((on - self.first).days + after) / self.count
        return self.start + (self.end - self.start) * min(max(part, 0.0), 1.0)

    def ticks(self) -> list[date]:
        """Days that an axis names: every so many days, weeks, months' worth or years' worth."""
        room = max(int((self.end - self.start) / 68), 1)
        days = self.count
        steps = (1, 2, 7, 14, 28, 56, 91, 182)
        step = next((s for s in steps if days / s <= room), 364 * ceil(days / 364 / room))
        named = range(0, (self.last - self.first).days + 1, step)
        return [self.first + timedelta(days=day) for day in named]


def day_text(on: date, *, year: bool = False) -> str:
    """A day in few letters: 7 Mar; with its year where that is told: Mar 2026."""
    return f"{on:%b} {on.year}" if year else f"{on.day} {on:%b}"


def gutter(scale: Scale, unit: Unit) -> float:
    """The room that the numbers of an upright axis need, left of it."""
    words = [tick_text(value, per_unit=unit.per_unit) for value in scale.ticks()]
    return max(estimated_width(text, SMALL) for text in words) + 8


def draw_day_axis(canvas: Canvas, days: Days, y: float) -> None:
    """The axis of days at a height; 22 units below it are used."""
    canvas.line(days.start, y, days.end, y, css="ch-axis")
    long = (days.last - days.first).days > 400
    for on in days.ticks():
        x = days.at(on)
        canvas.line(x, y, x, y + 5, css="ch-axis")
        words = day_text(on, year=long)
        half = estimated_width(words, SMALL) / 2
        place = min(max(x, half), canvas.width - half)
        canvas.text(place, y + 19, words, size=SMALL, anchor="middle", css="ch-quiet")


def draw_value_axis(canvas: Canvas, scale: Scale, unit: Unit, *, left: float, right: float) -> None:
    """Lines across at round values, their numbers left of `left`, the unit above them."""
    for value in scale.ticks():
        y = scale.at(value)
        canvas.line(left, y, right, y, css="ch-axis" if value == 0 else "ch-grid")
        words = tick_text(value, per_unit=unit.per_unit)
        canvas.text(left - 6, y + 4, words, size=SMALL, anchor="end", css="ch-quiet")
    canvas.text(0, min(scale.start, scale.end) - 12, unit.word, size=SMALL, css="ch-quiet")
