"""A chart as a file of its own: with its title above it, in colors of its own, on white.

Where no style sheet comes along (an image that is asked for alone, a sheet of paper), each class
of `charts.css` becomes the attributes that say the same, in the light palette on white paper.
"""

import re

from studio.foundation.drawing.canvas import Chart, cut, shown

INK, ASH, EDGE, LINE, WHITE = "#22211e", "#625f57", "#857f73", "#d5d0c3", "#ffffff"
BLUE = "#24449c"
TINTS = {"blue": "#c9d5f2", "green": "#d5e6d3", "ochre": "#f0ddb3", "ash": "#dcd8d1"}
MARGIN, HEADING, SIZE = 16.0, 32.0, 18.0


def _line(color: str, width: float, dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'fill="none" stroke="{color}" stroke-width="{width:g}"{dashed}'


#: What each class of a mark says.
LOOKS = {
    "ch-quiet": f'fill="{ASH}"',
    "ch-bold": 'font-weight="600"',
    "ch-ground": f'fill="{WHITE}"',
    "ch-ink": f'fill="{INK}"',
    "ch-solid": f'fill="{BLUE}"',
    "ch-ash-fill": f'fill="{ASH}"',
    "ch-ink-fill": f'fill="{INK}"',
    **{f"ch-tint-{name}": f'fill="{color}"' for name, color in TINTS.items()},
    "ch-dot": f'fill="{WHITE}" stroke="{INK}" stroke-width="2"',
    "ch-edge-ash": f'stroke="{EDGE}" stroke-width="1"',
    "ch-axis": _line(EDGE, 1),
    "ch-grid": _line(LINE, 1),
    "ch-line": _line(INK, 2),
    "ch-curve": _line(BLUE, 2.5),
    "ch-dashed": _line(INK, 1.5, "7 4"),
    "ch-edge-line": _line(EDGE, 1.5),
    "ch-wall": _line(INK, 4),
    "ch-fill-line": _line(BLUE, 2, "7 4"),
    "ch-ink-stroke": _line(INK, 0.8),
}


def alone(chart: Chart, *, font: str = "system-ui, sans-serif") -> str:
    """The wide drawing of a chart as SVG, its text in a `font`.

    Its marks may have the classes of `LOOKS` only.
    """
    canvas = chart.canvas
    width, height = canvas.width + 2 * MARGIN, canvas.height + HEADING + 2 * MARGIN
    heading = cut(chart.title, width=canvas.width, size=SIZE)
    frame = f"{-MARGIN:.0f} {-MARGIN - HEADING:.0f} {width:.0f} {height:.0f}"
    drawn = re.sub(r'class="([^"]+)"', lambda found: LOOKS[found[1]], canvas.inner())
    prefix = canvas.prefix
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="{frame}"'
        f' aria-labelledby="{prefix}-title {prefix}-desc" fill="{INK}" font-family="{font}">'
        f'<title id="{prefix}-title">{shown(chart.title)}</title>'
        f'<desc id="{prefix}-desc">{shown(chart.words)}</desc>'
        f'<rect x="{-MARGIN:.0f}" y="{-MARGIN - HEADING:.0f}" width="{width:.0f}"'
        f' height="{height:.0f}" fill="{WHITE}"/>'
        f'<text x="0" y="{-HEADING + SIZE:.0f}" font-size="{SIZE:g}" text-anchor="start"'
        f' font-weight="600">{shown(heading)}</text>{drawn}</svg>'
    )
