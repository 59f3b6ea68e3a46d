"""The marks that drawings are made of: escaped text, lines, and patterns that print in black.

Everything is SVG text; lengths are in user units (1/96 inch at full size).
"""

from studio.drawing import estimated_width, shown

__all__ = (
    "ASH",
    "FILLS",
    "INK",
    "PAPER",
    "ULTRAMARINE",
    "estimated_width",
    "line",
    "outline",
    "patterns",
    "shown",
    "text",
)

INK = "#1f1b16"
ASH = "#6b655c"
PAPER = "#fffdf8"
ULTRAMARINE = "#2a4b9b"
#: Each fill: a light tint of a pigment, and the strokes in ink that tell it apart in black.
FILLS = (
    ("#ffffff", ""),
    ("#c9d5f2", '<path d="M0 8L8 0" {stroke}/>'),
    ("#f0ddb3", '<circle cx="4" cy="4" r="1.2" fill="{ink}"/>'),
    ("#d5e6d3", '<path d="M0 4H8" {stroke}/>'),
    ("#f1cfc6", '<path d="M0 0L8 8" {stroke}/>'),
    ("#dcd8d1", '<path d="M4 0V8" {stroke}/>'),
    ("#d9cdea", '<path d="M0 8L8 0M0 0L8 8" {stroke}/>'),
    ("#cfe8ea", '<path d="M0 4H8M4 0V8" {stroke}/>'),
    ("#eadfce", '<circle cx="4" cy="4" r="2.4" fill="none" {stroke}/>'),
    ("#c4c0b8", '<path d="M0 4Q2 1 4 4T8 4" fill="none" {stroke}/>'),
    ("#e6e9c4", '<path d="M1 4H4M6 1V3M6 5V7" {stroke}/>'),
    ("#bfcfc0", '<rect x="2" y="2" width="4" height="4" fill="{ink}"/>'),
)


def patterns() -> str:
    """The definitions of all fills; use one with `fill="url(#pour-3)"`."""
    stroke = f'stroke="{INK}" stroke-width="0.8"'
    return "".join(
        f'<pattern id="pour-{index}" width="8" height="8" patternUnits="userSpaceOnUse">'
        f'<rect width="8" height="8" fill="{tint}"/>'
        f"{marks.format(stroke=stroke, ink=INK)}</pattern>"
        for index, (tint, marks) in enumerate(FILLS)
    )


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: float = 12,
    anchor: str = "start",
    weight: str = "normal",
    within: float | None = None,
) -> str:
    """One line of text; set smaller where it would be wider than `within`."""
    if within is not None:
        size = min(size, size * within / max(estimated_width(words, size), 1))
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:.2f}" text-anchor="{anchor}"'
        f' font-weight="{weight}">{shown(words)}</text>'
    )


def line(x1: float, y1: float, x2: float, y2: float) -> str:
    """A thin straight line in ink."""
    return (
        f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" fill="none" stroke="{INK}"'
        ' stroke-width="1"/>'
    )


def outline(points: list[tuple[float, float]], *, closed: bool, attributes: str) -> str:
    """A line through points."""
    path = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f'<path d="M{path}{"Z" if closed else ""}" {attributes}/>'
