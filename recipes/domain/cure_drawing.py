"""The cure as a curve in SVG: weighings, the fitted curve with its band, and the dates that count.

A pure function of its numbers. It carries a title and a description in words, and tells things
apart by shape, dash and hatching, so that it prints in black.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, floor, log10

from recipes.domain import drawing_marks as marks
from recipes.domain.drying import CurvePoint, DayMean, StableDate
from studio.units import NG_PER_G

WIDTH, HEIGHT = 800.0, 440.0
LEFT, RIGHT, TOP, BOTTOM = 76.0, 776.0, 104.0, 380.0
#: The least height of the scale of weights, in g, so that a flat curve looks flat.
LEAST_SPAN = 1.0
MOST_TICKS = 6
TINT = "#c9d5f2"


@dataclass(frozen=True, slots=True, kw_only=True)
class CurePicture:
    """What is drawn: means as weighed, the curve's points (none without a curve), the dates.

    `message` stands where there is no curve.
    """

    title: str
    means: Sequence[DayMean]
    series: Sequence[CurvePoint]
    begins: date
    default_on: date
    ready_on: date
    predicted: StableDate | None
    message: str = ""


def draw_cure(picture: CurePicture) -> str:
    """The SVG of a cure."""
    scale = _Scale(picture)
    body = [
        marks.text(24, 32, picture.title, size=18, weight="bold", within=WIDTH - 48),
        *_grid(scale),
        *_band(picture, scale),
        *_curve(picture, scale),
        *_dates(picture, scale),
        *_weighed(picture, scale),
        *_message(picture),
        *_legend(picture),
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}"'
        f' role="img" aria-labelledby="cure-title cure-desc" fill="{marks.INK}"'
        ' font-family="system-ui, sans-serif">'
        f'<title id="cure-title">{marks.shown(picture.title)}</title>'
        f'<desc id="cure-desc">{marks.shown(cure_in_words(picture))}</desc>'
        f"<defs>{_hatching()}</defs>"
        f'<rect width="100%" height="100%" fill="{marks.PAPER}"/>'
        f"{''.join(body)}</svg>"
    )


def cure_in_words(picture: CurePicture) -> str:
    """The drawing in words."""
    words = [f"{mean.on}: {_grams(mean.weight_ng)} on average." for mean in picture.means]
    if picture.series:
        last = picture.series[-1]
        words.append(f"The curve falls to {_grams(last.weight_ng)} on {last.on}.")
    if picture.predicted:
        words.append(f"The weekly loss falls to its limit on {picture.predicted.on}.")
    words.append(f"By the recipe the cure is over on {picture.default_on}.")
    words.append(f"The date that holds is {picture.ready_on}.")
    return " ".join([*words, picture.message]).strip()


class _Scale:
    """From days and grams to the page; y grows downward."""

    def __init__(self, picture: CurePicture) -> None:
        days = [picture.begins, picture.default_on, picture.ready_on]
        days += [mean.on for mean in picture.means] + [point.on for point in picture.series]
        days += [picture.predicted.on] if picture.predicted else []
        self.first = min(days)
        self.days = max((max(days) - self.first).days, 1)
        weights = [mean.weight_ng for mean in picture.means]
        if weights:  # a band that says nothing is cut off, or the curve would be a line in it
            least, most = min(weights) // 2, max(weights) * 3 // 2
            for point in picture.series:
                weights.append(
                    max(point.weight_ng if point.low_ng is None else point.low_ng, least)
                )
                weights.append(min(point.high_ng or point.weight_ng, most))
        self.has_weights = bool(weights)
        low, high = (min(weights), max(weights)) if weights else (0, NG_PER_G)
        self.step = _nice(max((high - low) / NG_PER_G, LEAST_SPAN) / MOST_TICKS)
        self.low = floor(low / NG_PER_G / self.step) * self.step
        self.high = max(ceil(high / NG_PER_G / self.step) * self.step, self.low + self.step)

    def x(self, on: date) -> float:
        return LEFT + (RIGHT - LEFT) * (on - self.first).days / self.days

    def y(self, weight_ng: int) -> float:
        part = (weight_ng / NG_PER_G - self.low) / (self.high - self.low)
        return BOTTOM - (BOTTOM - TOP) * min(max(part, 0.0), 1.0)

    def weights(self) -> list[float]:
        """Grams at which a line is drawn across."""
        return [
            self.low + self.step * tick
            for tick in range(round((self.high - self.low) / self.step) + 1)
        ]

    def ticks(self) -> list[date]:
        """Days that are written below: every week, or every so many weeks."""
        step = 7 * ceil(self.days / 7 / MOST_TICKS)
        return [self.first + timedelta(days=day) for day in range(0, self.days + 1, step)]


def _nice(step: float) -> float:
    power = 10.0 ** floor(log10(step))
    return next(times * power for times in (1, 2, 5, 10) if times * power >= step * 0.999)


def _grid(scale: _Scale) -> list[str]:
    drawn = [marks.line(LEFT, BOTTOM, RIGHT, BOTTOM), marks.line(LEFT, TOP, LEFT, BOTTOM)]
    for grams in scale.weights() if scale.has_weights else ():
        y = scale.y(round(grams * NG_PER_G))
        drawn.append(_thin(LEFT, y, RIGHT, y))
        words = f"{grams:.6f}".rstrip("0").rstrip(".")
        drawn.append(marks.text(LEFT - 8, y + 4, words, size=12, anchor="end"))
    if scale.has_weights:
        drawn.append(marks.text(LEFT - 8, TOP - 14, "g a bar", size=12, anchor="end"))
    for day in scale.ticks():
        x = scale.x(day)
        drawn.append(marks.line(x, BOTTOM, x, BOTTOM + 5))
        drawn.append(marks.text(x, BOTTOM + 20, _day(day), size=12, anchor="middle"))
    return drawn


def _band(picture: CurePicture, scale: _Scale) -> list[str]:
    banded = [point for point in picture.series if point.low_ng is not None]
    upper = [(scale.x(p.on), scale.y(p.high_ng or p.weight_ng)) for p in banded]
    lower = [
        (scale.x(p.on), scale.y(p.weight_ng if p.low_ng is None else p.low_ng))
        for p in reversed(banded)
    ]
    if not banded:
        return []
    return [marks.outline(upper + lower, closed=True, attributes='fill="url(#cure-band)"')]


def _curve(picture: CurePicture, scale: _Scale) -> list[str]:
    if not picture.series:
        return []
    points = [(scale.x(p.on), scale.y(p.weight_ng)) for p in picture.series]
    style = f'fill="none" stroke="{marks.ULTRAMARINE}" stroke-width="2.5"'
    return [marks.outline(points, closed=False, attributes=style)]


def _weighed(picture: CurePicture, scale: _Scale) -> list[str]:
    return [
        f'<circle cx="{scale.x(mean.on):.1f}" cy="{scale.y(mean.weight_ng):.1f}" r="5"'
        f' fill="{marks.PAPER}" stroke="{marks.INK}" stroke-width="2"/>'
        for mean in picture.means
    ]


def _dates(picture: CurePicture, scale: _Scale) -> list[str]:
    """An upright line for each date that counts, its words in a row of their own."""
    shown = [(picture.default_on, "By the recipe", "2 4")]
    if picture.predicted:
        shown.append((picture.predicted.on, "By the weighings", "9 4"))
    lines, labels = [], []
    for row, (on, words, dash) in enumerate(shown):
        x, y = scale.x(on), TOP - 44 + 18 * row
        held = " (holds)" if on == picture.ready_on else ""
        lines.append(
            f'<path d="M{x:.1f} {y - 10:.1f}V{BOTTOM:.1f}" fill="none" stroke="{marks.INK}"'
            f' stroke-width="1.6" stroke-dasharray="{dash}"/>'
        )
        labels += _label(x, y, f"{words}: {on}{held}", ends=x > (LEFT + RIGHT) / 2)
    return lines + labels + _reach(picture, scale)


def _label(x: float, y: float, words: str, *, ends: bool = False) -> list[str]:
    """Words on paper, so that no line runs through them."""
    width = min(marks.estimated_width(words, 12), RIGHT - LEFT)
    left = x - 6 - width if ends else x + 4
    return [
        f'<rect x="{left:.1f}" y="{y - 11:.1f}" width="{width + 2:.1f}" height="15"'
        f' fill="{marks.PAPER}"/>',
        marks.text(
            x - 6 if ends else x + 6,
            y,
            words,
            size=12,
            anchor="end" if ends else "start",
            within=width,
        ),
    ]


def _reach(picture: CurePicture, scale: _Scale) -> list[str]:
    """From when to when the predicted date may lie, as a bar with two ends on the axis."""
    found = picture.predicted
    if found is None or found.low is None or found.high is None:
        return []
    start, end = (min(max(scale.x(on), LEFT), RIGHT) for on in (found.low, found.high))
    y = BOTTOM - 8
    path = f"M{start:.1f} {y - 5:.1f}v10M{start:.1f} {y:.1f}H{end:.1f}M{end:.1f} {y - 5:.1f}v10"
    return [f'<path d="{path}" fill="none" stroke="{marks.INK}" stroke-width="2"/>']


def _message(picture: CurePicture) -> list[str]:
    return _label(LEFT, TOP - 22, picture.message) if picture.message else []


def _legend(picture: CurePicture) -> list[str]:
    y, drawn = HEIGHT - 18, []
    drawn.append(
        f'<circle cx="{LEFT + 6:.1f}" cy="{y - 4:.1f}" r="5" fill="{marks.PAPER}"'
        f' stroke="{marks.INK}" stroke-width="2"/>'
    )
    drawn.append(marks.text(LEFT + 18, y, "mean of the sample bars", size=12))
    if picture.series:
        drawn.append(
            f'<path d="M{LEFT + 190:.1f} {y - 4:.1f}h24" fill="none"'
            f' stroke="{marks.ULTRAMARINE}" stroke-width="2.5"/>'
        )
        drawn.append(marks.text(LEFT + 220, y, "fitted curve", size=12))
    if any(point.low_ng is not None for point in picture.series):
        drawn.append(
            f'<rect x="{LEFT + 310:.1f}" y="{y - 11:.1f}" width="24" height="14"'
            f' fill="url(#cure-band)" stroke="{marks.INK}" stroke-width="0.8"/>'
        )
        drawn.append(marks.text(LEFT + 340, y, "where its mean may lie", size=12))
    return drawn


def _hatching() -> str:
    return (
        '<pattern id="cure-band" width="7" height="7" patternUnits="userSpaceOnUse">'
        f'<rect width="7" height="7" fill="{TINT}" fill-opacity="0.6"/>'
        f'<path d="M0 7L7 0" fill="none" stroke="{marks.ASH}" stroke-width="0.8"/></pattern>'
    )


def _thin(x1: float, y1: float, x2: float, y2: float) -> str:
    return (
        f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" fill="none" stroke="{marks.ASH}"'
        ' stroke-width="0.4"/>'
    )


def _day(on: date) -> str:
    return f"{on:%d} {on:%b}".lstrip("0")


def _grams(weight_ng: int) -> str:
    return f"{weight_ng / NG_PER_G:.1f} g"
