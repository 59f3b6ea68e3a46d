"""A mold in cross-section as SVG: walls, layers as they were poured, the fill line, and a table.

The drawing is a pure function of its numbers. It carries a title and a description for those who
do not see it, tells layers apart by pattern and number so that it prints in black, and shows the
numbers it was drawn from in a table: beside it on paper, below it on a page, where the place may
be as narrow as a phone.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from recipes.domain import drawing_marks as marks
from recipes.domain.drawing_scale import NARROW, WIDE, Scale
from recipes.domain.drawing_table import Row, grams, heights, millimeters, table_below, table_beside
from recipes.domain.pours import PouredLayer, Span
from recipes.domain.sections import Section
from studio.drawing import wrapped

__all__ = ("Picture", "described", "draw", "grams", "millimeters")

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


def draw(picture: Picture, *, narrow: bool = False) -> str:
    """The SVG of a picture; `narrow` fits a page of 390 px, without the title, the table below."""
    scale = Scale(picture.section, NARROW if narrow else WIDE)
    frame = scale.frame
    under, notes = _sizes(picture.section, scale)
    if narrow:
        table, height = table_below(_rows(picture), picture.facts, top=under + 12, frame=frame)
        heading = []
    else:
        table, height = table_beside(_rows(picture), picture.facts, frame=frame)
        heading = [marks.text(24, 32, picture.title, size=18, weight="bold", within=952)]
        height = max(frame.top + scale.height + 76, height)
    body = [
        *heading,
        *_layers(picture, scale),
        *_dividers(picture.section, scale),
        *_numbers(picture, scale),
        _walls(picture.section, scale),
        *_fill_line(picture, scale),
        *notes,
        *table,
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {frame.width:.0f} {height:.0f}"'
        f' role="img" aria-labelledby="pour-title pour-desc" fill="{marks.INK}"'
        ' font-family="system-ui, sans-serif">'
        f'<title id="pour-title">{marks.shown(picture.title)}</title>'
        f'<desc id="pour-desc">{marks.shown(described(picture))}</desc>'
        f'<defs>{marks.patterns()}</defs><rect width="100%" height="100%" fill="{marks.PAPER}"/>'
        f"{''.join(body)}</svg>"
    )


def _rows(picture: Picture) -> list[Row]:
    return [
        Row(number=number, poured=poured, fill=_fill_of(picture, poured))
        for number, poured in enumerate(picture.layers, start=1)
    ]


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
            f" {grams(poured.mass_ng)}, {heights(poured)}."
        )
    return " ".join(words)


def _walls(section: Section, scale: Scale) -> str:
    heights = scale.steps(0, section.depth_nm)
    left = [(scale.x(-section.width_at(h) / 2), scale.y(h)) for h in reversed(heights)]
    right = [(scale.x(section.width_at(h) / 2), scale.y(h)) for h in heights]
    style = f'fill="none" stroke="{marks.INK}" stroke-width="4" stroke-linejoin="round"'
    return marks.outline(left + right, closed=False, attributes=style)


def _dividers(section: Section, scale: Scale) -> list[str]:
    half = section.width_nm / 2
    return [
        f'<rect x="{scale.x(start - half):.1f}" y="{scale.frame.top:.1f}"'
        f' width="{max((end - start) * scale.across, 1.5):.1f}" height="{scale.height:.1f}"'
        f' fill="{marks.INK}"/>'
        for start, end in section.dividers
    ]


def _layers(picture: Picture, scale: Scale) -> list[str]:
    if not picture.layers:
        whole = [Span(third=third, bottom_nm=0, top_nm=picture.fill_nm) for third in range(3)]
        return [_filled(span, scale, fill="#e9e4da", stroke="#e9e4da") for span in whole]
    drawn: list[str] = []
    for poured in picture.layers:
        fill = f"url(#pour-{_fill_of(picture, poured)})"
        drawn += [_filled(span, scale, fill=fill) for span in poured.spans]
        drawn += _edges(poured.spans, scale)
    return drawn


def _numbers(picture: Picture, scale: Scale) -> list[str]:
    return [
        mark
        for number, poured in enumerate(picture.layers, start=1)
        for mark in _number(number, poured, scale)
    ]


def _fill_of(picture: Picture, poured: PouredLayer) -> int:
    names = list(dict.fromkeys(layer.layer.portion for layer in picture.layers))
    return names.index(poured.layer.portion) % len(marks.FILLS)


def _filled(span: Span, scale: Scale, *, fill: str, stroke: str = "none") -> str:
    heights = scale.steps(span.bottom_nm, span.top_nm)
    edges = [(scale.section.third_at(span.third, h), scale.y(h)) for h in heights]
    left = [(scale.x(start), y) for (start, _), y in edges]
    right = [(scale.x(end), y) for (_, end), y in reversed(edges)]
    attributes = f'fill="{fill}" stroke="{stroke}"'
    return marks.outline(left + right, closed=True, attributes=attributes)


def _edges(spans: Sequence[Span], scale: Scale) -> list[str]:
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


def _number(number: int, poured: PouredLayer, scale: Scale) -> list[str]:
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


def _fill_line(picture: Picture, scale: Scale) -> list[str]:
    y, half, size = scale.y(picture.fill_nm), scale.width / 2, scale.frame.size
    dashed = f'stroke="{marks.ULTRAMARINE}" stroke-width="2" stroke-dasharray="7 4"'
    start, end = scale.middle - half - 14, scale.middle + half + 14
    return [
        f'<path d="M{start:.1f} {y:.1f}H{end:.1f}" fill="none" {dashed}/>',
        marks.text(end + 4, y - 2, "fill line", size=size),
        marks.text(end + 4, y + size, millimeters(picture.fill_nm), size=size),
    ]


def _sizes(section: Section, scale: Scale) -> tuple[float, list[str]]:
    """The words under the mold, and where the last of them stand."""
    size = scale.frame.size
    notes = [f"{millimeters(section.width_nm)} wide, {millimeters(section.depth_nm)} deep"]
    if not scale.is_even:
        notes.append("Width and height are drawn to two scales.")
    if section.cavities > 1:
        notes.append(f"One of {section.cavities} cavities; all are filled alike.")
    if section.schematic:
        notes.append("Only its volume and depth were measured: drawn as a box.")
    first, step = scale.frame.top + scale.height + 24, size + 6
    if scale.frame is NARROW:
        return _below(notes, scale, first=first, step=step)
    lines = [
        marks.text(scale.middle, first + step * index, note, size=size, anchor="middle")
        for index, note in enumerate(notes)
    ]
    return first + step * (len(notes) - 1), lines


def _below(
    notes: Sequence[str], scale: Scale, *, first: float, step: float
) -> tuple[float, list[str]]:
    """The sizes under the mold, and the notes on lines of the page's width."""
    size, left = scale.frame.size, 12.0
    room = scale.frame.width - 2 * left
    lines = [marks.text(scale.middle, first, notes[0], size=size, anchor="middle")]
    words = [line for note in notes[1:] for line in wrapped(note, width=room, size=size, most=3)]
    lines += [
        marks.text(left, first + step * index, line, size=size)
        for index, line in enumerate(words, start=1)
    ]
    return first + step * len(words), lines
