"""A chart's two drawings and its numbers; the marks that drawings are made of.

A chart is drawn twice, for a narrow and for a wide place, so that its text is never scaled to less
than it can be read at; the stylesheet shows the one that fits. Colors come from classes (prefix
`ch-`; `charts.css`, and `alone` for what leaves the page), never from the drawing, so that light,
dark and paper each have their own. What tells series apart is a pattern as well as a color. A
drawing refers to nothing outside it: every id begins with the prefix that the page gives.
"""

import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from html import escape

#: Letters that XML 1.0 cannot hold.
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"


def shown(text: str) -> str:
    """Text as SVG can hold it."""
    return escape(_NO_XML.sub("\N{WHITE SQUARE}", text))


def estimated_width(words: str, size: float) -> float:
    """About how wide a line is in a sans-serif type, never much too little."""
    return size * sum(_em(letter) for letter in words)


def cut(words: str, *, width: float, size: float) -> str:
    """Words as far as they fit in a width, then an ellipsis; empty where not even that fits."""
    if estimated_width(words, size) <= width:
        return words
    room, kept = width - size * _em(ELLIPSIS), 0
    for letter in words:
        room -= size * _em(letter)
        if room < 0:
            break
        kept += 1
    return words[:kept].rstrip() + ELLIPSIS if kept else ""


def wrapped(words: str, *, width: float, size: float, most: int) -> list[str]:
    """Words on lines that fit in a width; what does not fit on `most` lines is cut."""
    lines: list[str] = []
    rest = words.split()
    while rest and len(lines) < most - 1:
        count = 1
        while count < len(rest) and _fits(rest[: count + 1], width, size):
            count += 1
        lines.append(cut(" ".join(rest[:count]), width=width, size=size))
        rest = rest[count:]
    if rest:
        lines.append(cut(" ".join(rest), width=width, size=size))
    return lines


def _fits(words: list[str], width: float, size: float) -> bool:
    return estimated_width(" ".join(words), size) <= width


def _em(letter: str) -> float:
    if unicodedata.east_asian_width(letter) in "WF":
        return 1.0
    if letter in "MWmw@%":
        return 0.95
    return 0.74 if letter.isupper() else 0.58


#: Widths in user units; a narrow drawing fits a page of 390 px with its margins.
NARROW, WIDE = 352.0, 720.0
#: The size of all text but the smallest; 12 is the least that is ever drawn.
SIZE, SMALL = 14.0, 12.0
#: Patterns by name: the class of the ground, and the strokes that tell it apart without color.
FILLS = {
    "reserved": ("ch-tint-blue", '<path class="ch-blue-stroke" d="M-2 2L2 -2M0 8L8 0M6 10L10 6"/>'),
    "short": ("ch-ground", '<path class="ch-red-stroke" d="M0 8L8 0M0 0L8 8"/>'),
    "credit": ("ch-tint-green", '<path class="ch-green-stroke" d="M0 2H8M0 6H8"/>'),
    "band": ("ch-tint-ash", '<circle class="ch-ash-fill" cx="4" cy="4" r="0.9"/>'),
    "dots": ("ch-tint-ochre", '<circle class="ch-ochre-fill" cx="4" cy="4" r="1.8"/>'),
    "upright": ("ch-tint-ash", '<path class="ch-ash-stroke" d="M2 0V8M6 0V8"/>'),
    "falling": ("ch-ground", '<path class="ch-blue-stroke" d="M-2 6L2 10M0 0L8 8M6 -2L10 2"/>'),
}
#: Patterns for parts that are told apart by number and pattern alone, as many as are readable.
_STROKE = '<path class="ch-ink-stroke" d="{}"/>'
LAYERS = (
    ("ch-ground", ""),
    ("ch-tint-blue", _STROKE.format("M-2 2L2 -2M0 8L8 0M6 10L10 6")),
    ("ch-tint-ochre", '<circle class="ch-ink-fill" cx="4" cy="4" r="1.2"/>'),
    ("ch-tint-green", _STROKE.format("M0 4H8")),
    ("ch-tint-ash", _STROKE.format("M-2 6L2 10M0 0L8 8M6 -2L10 2")),
    ("ch-ground", _STROKE.format("M4 0V8")),
    ("ch-tint-blue", _STROKE.format("M0 8L8 0M0 0L8 8")),
    ("ch-tint-ochre", _STROKE.format("M0 4H8M4 0V8")),
    ("ch-tint-green", '<circle class="ch-ink-stroke" cx="4" cy="4" r="2.4"/>'),
    ("ch-tint-ash", _STROKE.format("M0 4Q2 1 4 4T8 4")),
    ("ch-ground", _STROKE.format("M1 4H4M6 1V3M6 5V7")),
    ("ch-tint-blue", '<rect class="ch-ink-fill" x="2" y="2" width="4" height="4"/>'),
)
FILLS |= {f"layer-{number}": look for number, look in enumerate(LAYERS)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A drawing and the numbers that it was drawn from, as text in the order of `columns`.

    `svg` is for a page: all text in it is escaped. `canvas` is the wide drawing.
    """

    svg: str
    canvas: "Canvas"
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    title: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A number to draw (whole, in any unit that its chart uses throughout), and its words."""

    value: int
    text: str


@dataclass(slots=True, kw_only=True)
class Canvas:
    """Where marks are put; `height` is set by whoever draws. All lengths are user units."""

    prefix: str
    width: float
    height: float = 0.0
    #: Whether it holds links, which a picture may not.
    linked: bool = False
    marks: list[str] = field(default_factory=list)
    fills: list[str] = field(default_factory=list)

    @property
    def is_narrow(self) -> bool:
        """Whether there is no room beside things, only below them."""
        return self.width < WIDE

    def rect(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        css: str = "",
        fill: str = "",
        tip: str = "",
    ) -> None:
        """A rectangle, filled by a class or by a pattern; `tip` is shown where it is pointed at."""
        inner = f"<title>{shown(tip)}</title>" if tip else ""
        self.marks.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0):.1f}"'
            f' height="{max(height, 0):.1f}"{self._look(css, fill)}>{inner}</rect>'
        )

    def path(
        self,
        points: Sequence[tuple[float, float]],
        *,
        css: str = "ch-line",
        fill: str = "",
        closed: bool = False,
    ) -> None:
        """A line through points; nothing where there are fewer than two."""
        if len(points) > 1:
            drawn = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
            self.marks.append(f'<path d="M{drawn}{"Z" if closed else ""}"{self._look(css, fill)}/>')

    def line(self, x1: float, y1: float, x2: float, y2: float, *, css: str = "ch-line") -> None:
        """A straight line."""
        self.path([(x1, y1), (x2, y2)], css=css)

    def curve(self, x1: float, y1: float, x2: float, y2: float, *, css: str) -> None:
        """A line that leaves and arrives level."""
        middle = (x1 + x2) / 2
        self.marks.append(
            f'<path d="M{x1:.1f} {y1:.1f}C{middle:.1f} {y1:.1f} {middle:.1f} {y2:.1f}'
            f' {x2:.1f} {y2:.1f}" class="{css}"/>'
        )

    def circle(self, x: float, y: float, radius: float, *, css: str) -> None:
        """A circle."""
        self.marks.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" class="{css}"/>')

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = SIZE,
        anchor: str = "start",
        css: str = "",
        within: float | None = None,
    ) -> None:
        """One line of text, cut where it would be wider than `within` or leave the drawing."""
        room = {"start": self.width - x, "end": x}.get(anchor, 2 * min(x, self.width - x))
        # A hair more, or words placed so that they just fit would be cut by rounding.
        fitting = cut(words, width=min(room, within or room) + 0.01, size=size)
        if fitting:
            kind = f' class="{css}"' if css else ""
            self.marks.append(
                f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}"{kind}>'
                f"{shown(fitting)}</text>"
            )

    def lines(
        self,
        x: float,
        y: float,
        words: str,
        *,
        within: float,
        most: int = 2,
        css: str = "",
    ) -> int:
        """Text on as many lines as it needs, at most `most`; how many were drawn."""
        drawn = wrapped(words, width=within, size=SIZE, most=most)
        for index, line in enumerate(drawn):
            self.text(x, y + 17 * index, line, css=css)
        return len(drawn)

    def say(self, words: str) -> None:
        """Words in place of a drawing that has nothing to draw."""
        self.text(0, 16, words, css="ch-quiet")
        self.height = 26

    def begin_link(self, href: str) -> None:
        """What is drawn until `end_link` leads to an address."""
        self.linked = True
        self.marks.append(f'<a href="{shown(href)}">')

    def end_link(self) -> None:
        """The end of what leads to an address."""
        self.marks.append("</a>")

    def legend(self, y: float, entries: Sequence[tuple[str, str, str]]) -> float:
        """A swatch and its words for each (class, pattern, words); without both, words alone.

        Gives the y below it.
        """
        x = 0.0
        for css, fill, words in entries:
            indent = 26 if css or fill else 0
            needed = indent + estimated_width(words, SMALL) + 16
            if x and x + needed > self.width:
                x, y = 0.0, y + 22
            if indent:
                self.rect(x + 1, y, 18, 12, css=css, fill=fill)
            self.text(x + indent, y + 11, words, size=SMALL, css="ch-quiet")
            x += needed
        return y + 22

    def _look(self, css: str, fill: str) -> str:
        kind = f' class="{css}"' if css else ""
        if not fill:
            return kind
        if fill not in self.fills:
            self.fills.append(fill)
        return f'{kind} fill="url(#{self.prefix}-{fill})"'

    def svg(self, *, title: str, words: str, css: str, keep_size: bool = False) -> str:
        """The whole drawing as SVG; with `keep_size` it is not scaled to its place."""
        size = f' width="{self.width:.0f}" height="{self.height:.0f}"' if keep_size else ""
        role = "group" if self.linked else "img"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="{css}" role="{role}"{size}'
            f' viewBox="0 0 {self.width:.0f} {self.height:.0f}"'
            f' aria-labelledby="{self.prefix}-title {self.prefix}-desc">'
            f'<title id="{self.prefix}-title">{shown(title)}</title>'
            f'<desc id="{self.prefix}-desc">{shown(words)}</desc>'
            f"{self.inner()}</svg>"
        )

    def inner(self) -> str:
        """The patterns that are used and the marks."""
        patterns = "".join(
            f'<pattern id="{self.prefix}-{name}" width="8" height="8"'
            f' patternUnits="userSpaceOnUse"><rect width="8" height="8" class="{FILLS[name][0]}"/>'
            f"{FILLS[name][1]}</pattern>"
            for name in self.fills
        )
        return f"{f'<defs>{patterns}</defs>' if patterns else ''}{''.join(self.marks)}"


def chart(
    *,
    prefix: str,
    title: str,
    words: str,
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
    draw: Callable[[Canvas], None],
) -> Chart:
    """A chart drawn narrow and wide by `draw`, described by `words`, with its table.

    `prefix` begins every id and must be unique on its page: letters, digits and hyphens.
    """
    drawn = ""
    for kind, width in (("narrow", NARROW), ("wide", WIDE)):
        canvas = Canvas(prefix=f"{prefix}-{kind}", width=width)
        draw(canvas)
        drawn += canvas.svg(title=title, words=words, css=f"ch ch-{kind}")
    return Chart(
        svg=drawn,
        canvas=canvas,
        columns=tuple(columns),
        rows=tuple(tuple(row) for row in rows),
        title=title,
        words=words,
    )
