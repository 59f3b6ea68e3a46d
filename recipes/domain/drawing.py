"""A mold in cross-section as SVG: walls, layers as they were poured, the fill line, and a table.

The drawing is a pure function of its numbers. It carries a title and a description for those who
do not see it, tells layers apart by pattern and number so that it prints in black, and shows the
numbers it was drawn from in a table beside it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from recipes.domain import drawing_marks as marks
from recipes.domain.pours import PouredLayer, Span
from recipes.domain.sections import Section
from studio.units import NM_PER_MM, format_amount

#: The room for the mold, and where the table begins.
ROOM = (300.0, 240.0)
LEFT, TOP, TABLE, WIDTH = 40.0, 64.0, 440.0, 1000.0
ROW = 22.0
CURVE_STEPS = 48
#: A side that would be drawn shorter than this is stretched, by no more than so many times.
SHORTEST, STRETCH = 130.0, 3.0
#: The smallest circle that a layer's number is legible in.
SMALLEST = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """What is drawn. `fill_height_nm` None fills to the rim; `facts` stand under the table."""

    title: str
    section: Section
    fill_height_nm: int | None = None
    layers: Sequence[PouredLayer] = ()
    facts: Sequence[tuple[str, str]] = field(default_factory=tuple)

    @property
    def fill_nm(self) -> int:
        """The height of the fill line."""
        return self.fill_height_nm or self.section.depth_nm


def draw(picture: Picture) -> str:
    """The SVG of a picture."""
    scale = _Scale(picture.section)
    rows = len(picture.layers) + len(picture.facts) + 2
    height = max(TOP + scale.height + 76, TOP + rows * ROW + 24)
    body = [
        marks.text(24, 32, picture.title, size=18, weight="bold", within=WIDTH - 48),
        *_layers(picture, scale),
        *_dividers(picture.section, scale),
        *_numbers(picture, scale),
        _walls(picture.section, scale),
        *_fill_line(picture, scale),
        *_sizes(picture.section, scale),
        *_table(picture),
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {height:.0f}"'
        f' role="img" aria-labelledby="pour-title pour-desc" fill="{marks.INK}"'
        ' font-family="system-ui, sans-serif">'
        f'<title id="pour-title">{marks.shown(picture.title)}</title>'
        f'<desc id="pour-desc">{marks.shown(described(picture))}</desc>'
        f'<defs>{marks.patterns()}</defs><rect width="100%" height="100%" fill="{marks.PAPER}"/>'
        f"{''.join(body)}</svg>"
    )


def described(picture: Picture) -> str:
    """The drawing in words."""
    section = picture.section
    words = [
        f"Cross-section {millimeters(section.width_nm)} wide and"
        f" {millimeters(section.depth_nm)} deep, filled to {millimeters(picture.fill_nm)}."
    ]
    for number, poured in enumerate(picture.layers, start=1):
        words.append(
            f"Layer {number}: {poured.layer.portion}, {poured.layer.place.value},"
            f" {grams(poured.mass_ng)}, {_heights(poured)}."
        )
    return " ".join(words)


def millimeters(length_nm: float) -> str:
    """A length as text, to a tenth of a millimeter."""
    return f"{length_nm / NM_PER_MM:.1f}".removesuffix(".0") + " mm"


def grams(mass_ng: int) -> str:
    """A mass as text, to a tenth of a gram."""
    return f"{mass_ng / 10**9:.1f} g"


class _Scale:
    """From nm in the mold to units on the page; y grows downward."""

    def __init__(self, section: Section) -> None:
        self.section = section
        even = min(ROOM[0] / section.width_nm, ROOM[1] / section.depth_nm)
        self.width = _stretched(section.width_nm * even)
        self.height = _stretched(section.depth_nm * even)
        self.across, self.up = self.width / section.width_nm, self.height / section.depth_nm
        self.middle = LEFT + ROOM[0] / 2

    @property
    def is_even(self) -> bool:
        """Whether width and height are drawn to one scale."""
        return abs(self.across - self.up) < self.up / 1000

    def x(self, from_middle_nm: float) -> float:
        return self.middle + from_middle_nm * self.across

    def y(self, height_nm: float) -> float:
        return TOP + self.height - height_nm * self.up

    def steps(self, bottom_nm: float, top_nm: float) -> list[float]:
        """Heights at which a wall between two heights is drawn."""
        if self.section.is_straight:
            return [bottom_nm, top_nm]
        turns = (math.cos(math.pi * i / CURVE_STEPS) for i in range(CURVE_STEPS + 1))
        return [bottom_nm + (top_nm - bottom_nm) * (1 - turn) / 2 for turn in turns]


def _stretched(side: float) -> float:
    return max(side, min(SHORTEST, side * STRETCH))


def _walls(section: Section, scale: _Scale) -> str:
    heights = scale.steps(0, section.depth_nm)
    left = [(scale.x(-section.width_at(h) / 2), scale.y(h)) for h in reversed(heights)]
    right = [(scale.x(section.width_at(h) / 2), scale.y(h)) for h in heights]
    style = f'fill="none" stroke="{marks.INK}" stroke-width="4" stroke-linejoin="round"'
    return marks.outline(left + right, closed=False, attributes=style)


def _dividers(section: Section, scale: _Scale) -> list[str]:
    half = section.width_nm / 2
    return [
        f'<rect x="{scale.x(start - half):.1f}" y="{TOP:.1f}"'
        f' width="{max((end - start) * scale.across, 1.5):.1f}" height="{scale.height:.1f}"'
        f' fill="{marks.INK}"/>'
        for start, end in section.dividers
    ]


def _layers(picture: Picture, scale: _Scale) -> list[str]:
    if not picture.layers:
        whole = [Span(third=third, bottom_nm=0, top_nm=picture.fill_nm) for third in range(3)]
        return [_filled(span, scale, fill="#e9e4da", stroke="#e9e4da") for span in whole]
    drawn: list[str] = []
    for poured in picture.layers:
        fill = f"url(#pour-{_fill_of(picture, poured)})"
        drawn += [_filled(span, scale, fill=fill) for span in poured.spans]
        drawn += _edges(poured.spans, scale)
    return drawn


def _numbers(picture: Picture, scale: _Scale) -> list[str]:
    return [
        mark
        for number, poured in enumerate(picture.layers, start=1)
        for mark in _number(number, poured, scale)
    ]


def _fill_of(picture: Picture, poured: PouredLayer) -> int:
    names = list(dict.fromkeys(layer.layer.portion for layer in picture.layers))
    return names.index(poured.layer.portion) % len(marks.FILLS)


def _filled(span: Span, scale: _Scale, *, fill: str, stroke: str = "none") -> str:
    heights = scale.steps(span.bottom_nm, span.top_nm)
    edges = [(scale.section.third_at(span.third, h), scale.y(h)) for h in heights]
    left = [(scale.x(start), y) for (start, _), y in edges]
    right = [(scale.x(end), y) for (_, end), y in reversed(edges)]
    attributes = f'fill="{fill}" stroke="{stroke}"'
    return marks.outline(left + right, closed=True, attributes=attributes)


def _edges(spans: Sequence[Span], scale: _Scale) -> list[str]:
    """The line around a layer: level edges, and upright ones where its thirds do not meet."""
    lines = []
    for span in spans:
        for height in (span.bottom_nm, span.top_nm):
            start, end = scale.section.third_at(span.third, height)
            lines.append(marks.line(scale.x(start), scale.y(height), scale.x(end), scale.y(height)))
    by_third = {span.third: (span.bottom_nm, span.top_nm) for span in spans}
    for left in (0, 1):
        first, second = by_third.get(left, (0, 0)), by_third.get(left + 1, (0, 0))
        # Where only one of the two has the layer lies between the lower and the upper two ends.
        ends = sorted((*first, *second))
        x = scale.x((left * 2 - 1) * scale.section.width_nm / 6)
        for low, high in ((ends[0], ends[1]), (ends[2], ends[3])):
            if high > low:
                lines.append(marks.line(x, scale.y(low), x, scale.y(high)))
    return lines


def _number(number: int, poured: PouredLayer, scale: _Scale) -> list[str]:
    if not poured.spans:
        return []
    span = max(poured.spans, key=lambda s: (s.top_nm - s.bottom_nm, s.third == 1))
    height = (span.bottom_nm + span.top_nm) / 2
    start, end = scale.section.third_at(span.third, height)
    x, y = scale.x((start + end) / 2), scale.y(height)
    radius = min(9.0, (span.top_nm - span.bottom_nm) * scale.up / 2)
    if radius < SMALLEST:  # the pattern tells it
        return []
    return [
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" fill="{marks.PAPER}"'
        f' stroke="{marks.INK}"/>',
        marks.text(
            x, y + radius * 0.45, str(number), size=radius * 1.3, anchor="middle", weight="bold"
        ),
    ]


def _fill_line(picture: Picture, scale: _Scale) -> list[str]:
    y, half = scale.y(picture.fill_nm), scale.width / 2
    dashed = f'stroke="{marks.ULTRAMARINE}" stroke-width="2" stroke-dasharray="7 4"'
    start, end = scale.middle - half - 14, scale.middle + half + 14
    return [
        f'<path d="M{start:.1f} {y:.1f}H{end:.1f}" fill="none" {dashed}/>',
        marks.text(end + 4, y - 2, "fill line", size=11),
        marks.text(end + 4, y + 11, millimeters(picture.fill_nm), size=11),
    ]


def _sizes(section: Section, scale: _Scale) -> list[str]:
    under = TOP + scale.height
    words = f"{millimeters(section.width_nm)} wide, {millimeters(section.depth_nm)} deep"
    lines = [marks.text(scale.middle, under + 24, words, size=12, anchor="middle")]
    notes = [] if scale.is_even else ["Width and height are drawn to two scales."]
    if section.cavities > 1:
        notes.append(f"One of {section.cavities} cavities; all are filled alike.")
    if section.schematic:
        notes.append("Only its volume and depth were measured: drawn as a box.")
    for index, note in enumerate(notes, start=1):
        lines.append(
            marks.text(scale.middle, under + 24 + 17 * index, note, size=11, anchor="middle")
        )
    return lines


#: Where the columns of the table stand, from its left edge, and how they are aligned.
_COLUMNS = ((0, "start"), (46, "start"), (278, "start"), (406, "end"), (536, "end"))


def _table(picture: Picture) -> list[str]:
    drawn, y = [], TOP + 8
    if picture.layers:
        drawn += _row(y, ("Layer", "Portion", "Where", "Mass", "Height"), weight="bold")
        drawn.append(marks.line(TABLE, y + 7, WIDTH - 24, y + 7))
    for number, poured in enumerate(picture.layers, start=1):
        y += ROW
        layer = poured.layer
        cells = (str(number), layer.portion, layer.place.value, grams(poured.mass_ng))
        drawn += _row(y, (*cells, _heights(poured)))
        fill = _fill_of(picture, poured)
        drawn.append(
            f'<rect x="{TABLE + 20:.1f}" y="{y - 11:.1f}" width="18" height="14"'
            f' fill="url(#pour-{fill})" stroke="{marks.INK}" stroke-width="0.8"/>'
        )
    for name, value in picture.facts:
        y += ROW
        drawn.append(marks.text(TABLE, y, name, size=12, within=270))
        drawn.append(marks.text(TABLE + 536, y, value, size=12, anchor="end", within=256))
    return drawn


def _row(y: float, cells: Sequence[str], *, weight: str = "normal") -> list[str]:
    return [
        marks.text(
            TABLE + x,
            y,
            words,
            size=12,
            anchor=anchor,
            weight=weight,
            within=224 if index == 1 else None,
        )
        for index, ((x, anchor), words) in enumerate(zip(_COLUMNS, cells, strict=True))
    ]


def _heights(poured: PouredLayer) -> str:
    if not poured.spans:
        return "-"
    bottom = min(span.bottom_nm for span in poured.spans)
    top = max(span.top_nm for span in poured.spans)
    return f"{format_amount(_tenth(bottom), 'mm')} to {millimeters(top)}"


def _tenth(length_nm: int) -> int:
    step = NM_PER_MM // 10
    return (length_nm + step // 2) // step * step
