"""A vessel cut through: its walls, what was poured into it layer by layer, and the fill line."""

from collections.abc import Sequence
from dataclasses import dataclass

from studio.foundation.drawing.canvas import LAYERS, SMALL, Canvas, Chart, chart, wrapped

#: Across from the middle and up from the bottom, both in one unit of length.
Point = tuple[float, float]
#: What is level and lies between walls: up its left edge and, as many points, down its right one.
Area = Sequence[Point]

#: The room of a vessel in a narrow and in a wide drawing, with that of its list.
NARROW, WIDE = (232.0, 200.0), (300.0, 240.0)
TOP, LEFT, LIST, ROW = 12.0, 20.0, 420.0, 22.0
#: A side that would be drawn shorter than this is stretched, by no more than so many times.
SHORTEST, STRETCH = 130.0, 3.0
#: The circle of a layer's number, and the least in which it can be read.
CIRCLE, SMALLEST = 9.0, 7.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Pour:
    """One layer in words (`name` gives it its pattern), the areas it fills and their edges."""

    name: str
    place: str
    amount: str
    reach: str
    areas: Sequence[Area] = ()
    edges: Sequence[tuple[Point, Point]] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """Its inside up to the rim and up to the fill line, what parts it, and words about it."""

    inside: Area
    filled: Area
    fill_text: str
    dividers: Sequence[tuple[float, float]] = ()
    notes: Sequence[str] = ()


def cross_section(
    *,
    prefix: str,
    title: str,
    words: str,
    vessel: Vessel,
    pours: Sequence[Pour] = (),
    facts: Sequence[tuple[str, str]] = (),
) -> Chart:
    """The vessel with its layers, numbered from the first that was poured, and facts about it.

    Layers of one name have one pattern. The list stands beside it where there is room, else below.
    """
    rows = [
        (str(number), f"{pour.name}, {pour.place}", pour.amount, pour.reach)
        for number, pour in enumerate(pours, start=1)
    ]
    rows += [("", name, value, "") for name, value in facts]
    names = list(dict.fromkeys(pour.name for pour in pours))
    looks = [f"layer-{names.index(pour.name) % len(LAYERS)}" for pour in pours]

    def draw(canvas: Canvas) -> None:
        scale = _Scale(vessel, NARROW if canvas.is_narrow else WIDE)
        _vessel(canvas, scale, vessel, pours, looks)
        below = _notes(canvas, scale, vessel)
        top, left = (below, 0.0) if canvas.is_narrow else (0.0, LIST)
        end = _list(canvas, rows, looks, left=left, top=top)
        canvas.height = max(below, end) + 8

    return chart(
        prefix=prefix,
        title=title,
        words=words,
        columns=("Layer", "What", "Amount", "From the bottom"),
        rows=rows,
        draw=draw,
    )


class _Scale:
    """From lengths in the vessel to lengths on the page; y grows downward."""

    def __init__(self, vessel: Vessel, room: tuple[float, float]) -> None:
        width = max(abs(x) for x, _ in vessel.inside) * 2
        depth = max(y for _, y in vessel.inside)
        even = min(room[0] / width, room[1] / depth)
        self.width, self.height = _stretched(width * even), _stretched(depth * even)
        self.across, self.up = self.width / width, self.height / depth
        self.middle = LEFT + room[0] / 2

    @property
    def is_even(self) -> bool:
        """Whether width and height are drawn to one scale."""
        return abs(self.across - self.up) < self.up / 1000

    def at(self, point: Point) -> tuple[float, float]:
        return self.middle + point[0] * self.across, TOP + self.height - point[1] * self.up


def _stretched(side: float) -> float:
    return max(side, min(SHORTEST, side * STRETCH))


def _vessel(
    canvas: Canvas, scale: _Scale, vessel: Vessel, pours: Sequence[Pour], looks: Sequence[str]
) -> None:
    if not pours:
        canvas.path([scale.at(p) for p in vessel.filled], css="ch-tint-ash", closed=True)
    for pour, look in zip(pours, looks, strict=True):
        for area in pour.areas:
            canvas.path([scale.at(p) for p in area], css="", fill=look, closed=True)
        for start, end in pour.edges:
            canvas.path([scale.at(start), scale.at(end)], css="ch-edge-line")
    for left, right in vessel.dividers:
        (x, _), (beyond, _) = scale.at((left, 0)), scale.at((right, 0))
        canvas.rect(x, TOP, max(beyond - x, 1.5), scale.height, css="ch-ink")
    for number, pour in enumerate(pours, start=1):
        _number(canvas, scale, number, pour)
    half = len(vessel.inside) // 2
    walls = [*reversed(vessel.inside[:half]), *reversed(vessel.inside[half:])]
    canvas.path([scale.at(p) for p in walls], css="ch-wall")
    _fill_line(canvas, scale, vessel)


def _fill_line(canvas: Canvas, scale: _Scale, vessel: Vessel) -> None:
    _, y = scale.at(vessel.filled[len(vessel.filled) // 2 - 1])
    start, end = scale.middle - scale.width / 2 - 14, scale.middle + scale.width / 2 + 14
    canvas.line(start, y, end, y, css="ch-fill-line")
    canvas.text(end + 4, max(y - 2, SMALL), "fill line", size=SMALL)
    canvas.text(end + 4, max(y - 2, SMALL) + SMALL + 2, vessel.fill_text, size=SMALL)


def _number(canvas: Canvas, scale: _Scale, number: int, pour: Pour) -> None:
    """Its number in the middle of the layer's highest area; none where only the pattern fits."""
    if not pour.areas:
        return
    tallest = max(pour.areas, key=lambda area: (_height(area), -abs(_center(area)[0])))
    radius = min(CIRCLE, _height(tallest) * scale.up / 2)
    if radius < SMALLEST:
        return
    x, y = scale.at(_center(tallest))
    canvas.circle(x, y, radius, css="ch-dot")
    canvas.text(x, y + 4, str(number), size=SMALL, anchor="middle", css="ch-bold")


def _height(area: Area) -> float:
    return area[len(area) // 2 - 1][1] - area[0][1]


def _center(area: Area) -> Point:
    half = len(area) // 2
    level = [area[index] for k in ((half - 1) // 2, half // 2) for index in (k, -1 - k)]
    return sum(x for x, _ in level) / 4, sum(y for _, y in level) / 4


def _notes(canvas: Canvas, scale: _Scale, vessel: Vessel) -> float:
    """The words under the vessel; the y below them."""
    notes = list(vessel.notes)
    if not scale.is_even:
        notes.insert(1, "Width and height are drawn to two scales.")
    room = canvas.width if canvas.is_narrow else LIST - LEFT
    y = TOP + scale.height + 8
    for note in notes:
        for line in wrapped(note, width=room, size=SMALL, most=3):
            y += SMALL + 5
            canvas.text(0, y, line, size=SMALL, css="ch-quiet")
    return y + 8


def _list(
    canvas: Canvas,
    rows: Sequence[tuple[str, str, str, str]],
    looks: Sequence[str],
    *,
    left: float,
    top: float,
) -> float:
    """Each layer with its pattern, and the facts; the y below them."""
    y, right = top, canvas.width
    for index, (number, what, amount, _) in enumerate(rows):
        y += ROW
        indent = 48 if number else 0
        if number:
            canvas.text(left, y, number, size=SMALL, css="ch-bold")
            canvas.rect(left + 22, y - 11, 18, 14, css="ch-edge-ash", fill=looks[index])
        room = right - left - indent
        canvas.text(left + indent, y, what, size=SMALL, within=room * 0.62)
        canvas.text(right, y, amount, size=SMALL, anchor="end", within=room * 0.36)
    return y
