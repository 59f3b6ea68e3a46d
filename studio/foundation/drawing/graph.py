"""A graph from left to right, such as where a lot came from and what it went into."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from studio.foundation.drawing.canvas import ELLIPSIS, SIZE, SMALL, Canvas, Chart, shown, wrapped
from studio.foundation.drawing.layering import Bend, Edge, Key, layers_of, ordered, with_bends

BOX, ACROSS, BETWEEN, BEND, EDGE = 184.0, 52.0, 14.0, 8.0, 4.0
ROOM, LINE = BOX - 20, 17.0
#: More columns than this, or more nodes in a column, are told by their number.
MOST_COLUMNS, MOST_ROWS = 24, 12
#: A state's shape and color, as elsewhere on the pages.
TONES = {
    "plain": ("\N{WHITE CIRCLE}", "ch-quiet"),
    "good": ("\N{BLACK CIRCLE}", "ch-green"),
    "soon": ("\N{BLACK UP-POINTING TRIANGLE}", "ch-ochre"),
    "danger": ("\N{BLACK SQUARE}", "ch-red"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """One box: its words, where it leads (empty: nowhere), its state as a word and a tone.

    The subject is what the page is about; it has a heavy edge.
    """

    key: str
    label: str
    sub: str = ""
    href: str = ""
    state: str = ""
    tone: Literal["plain", "good", "soon", "danger"] = "plain"
    is_subject: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _More:
    """Stands for the nodes of a column that are not drawn."""

    layer: int
    count: int


def layered_graph(
    *, prefix: str, title: str, nodes: Sequence[Node], edges: Sequence[tuple[str, str]]
) -> Chart:
    """Nodes in columns; each edge (key, key) leads rightward, unless it closes a circle.

    An edge with an end that is not among the nodes is left out. Of a large graph as much is drawn
    as can be read, with the number of what is left out; the table always has all of it. The
    drawing keeps its size, and scrolls where it is wider than its place.
    """
    by_key = {node.key: node for node in nodes}
    joined = [
        (start, end)
        for start, end in dict.fromkeys(edges)
        if start in by_key and end in by_key and start != end
    ]
    leads_to: dict[str, list[str]] = {key: [] for key in by_key}
    for start, end in joined:
        leads_to[start].append(by_key[end].label)
    rows = [
        (node.label, node.sub, node.state, ", ".join(leads_to[node.key]))
        for node in by_key.values()
    ]
    words = f"{len(by_key)} in all, {len(joined)} connections."
    canvas = _drawn(prefix, by_key, joined)
    drawing = canvas.svg(title=title, words=words, css="ch ch-graph", keep_size=True)
    return Chart(
        svg=f'<div class="scroll" tabindex="0" role="region" aria-label="{shown(title)}">'
        f"{drawing}</div>",
        canvas=canvas,
        columns=("Name", "About", "State", "Leads to"),
        rows=tuple(rows),
        title=title,
        words=words,
    )


def _drawn(prefix: str, nodes: Mapping[str, Node], edges: Sequence[tuple[str, str]]) -> Canvas:
    canvas = Canvas(prefix=prefix, width=BOX + 2 * EDGE)
    if not nodes:
        canvas.say("Nothing to show yet.")
        return canvas
    layers, kept = _bounded(layers_of(list(nodes), list(edges)), edges)
    pieces = with_bends(layers, kept)
    columns = [sorted(column, key=_is_more) for column in ordered(layers, pieces)]
    form = _Form.of(list(nodes.values()))
    canvas.width = len(columns) * (BOX + ACROSS) - ACROSS + 2 * EDGE
    canvas.height = max(form.column(column) for column in columns) + 2 * EDGE
    places = _places(columns, canvas.height, form)
    for start, end in pieces:
        _edge(canvas, places, start, end, form)
    for key, (x, y) in places.items():
        if isinstance(key, _More):
            _more(canvas, key, x, y, form)
        elif isinstance(key, Bend):
            canvas.line(x, y, x + BOX, y, css="ch-edge-line")
        else:
            _box(canvas, nodes[str(key)], x, y, form)
    return canvas


def _is_more(key: Key) -> bool:
    return isinstance(key, _More)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Form:
    """How many lines a box has for its label, and which others; all boxes are alike."""

    label: int
    has_sub: bool
    has_state: bool

    @classmethod
    def of(cls, nodes: Sequence[Node]) -> "_Form":
        lines = (len(wrapped(node.label, width=ROOM, size=SIZE, most=2)) for node in nodes)
        return cls(
            label=max(1, *lines),
            has_sub=any(node.sub for node in nodes),
            has_state=any(node.state for node in nodes),
        )

    @property
    def high(self) -> float:
        """The height of a box."""
        return 14 + LINE * (self.label + self.has_sub + self.has_state)

    def column(self, keys: Sequence[Key]) -> float:
        """The height of a column."""
        heights = [BEND if isinstance(key, Bend) else self.high for key in keys]
        return sum(heights) + BETWEEN * (len(heights) - 1)


def _bounded(layers: Mapping[Key, int], edges: Sequence[Edge]) -> tuple[dict[Key, int], list[Edge]]:
    """Columns no longer and no more than can be read; what is over is one node in each."""
    columns: dict[int, list[Key]] = {}
    for key, layer in layers.items():
        columns.setdefault(min(layer, MOST_COLUMNS), []).append(key)
    kept: dict[Key, int] = {}
    stand_in: dict[Key, Key] = {}
    for layer, keys in sorted(columns.items()):
        most = 0 if layer == MOST_COLUMNS else MOST_ROWS
        over = keys[most:] if len(keys) > most + (most > 0) else []
        for key in keys[: len(keys) - len(over)]:
            kept[key], stand_in[key] = layer, key
        if over:
            more = _More(layer=layer, count=len(over))
            kept[more] = layer
            stand_in |= dict.fromkeys(over, more)
    joined = dict.fromkeys((stand_in[start], stand_in[end]) for start, end in edges)
    return kept, [(start, end) for start, end in joined if start != end]


def _places(
    columns: Sequence[Sequence[Key]], height: float, form: _Form
) -> dict[Key, tuple[float, float]]:
    """The left upper corner of each node; of a bend, its left end."""
    places: dict[Key, tuple[float, float]] = {}
    for index, column in enumerate(columns):
        x, y = EDGE + index * (BOX + ACROSS), (height - form.column(column)) / 2
        for key in column:
            is_bend = isinstance(key, Bend)
            places[key] = (x, y + BEND / 2 if is_bend else y)
            y += (BEND if is_bend else form.high) + BETWEEN
    return places


def _edge(
    canvas: Canvas,
    places: Mapping[Key, tuple[float, float]],
    start: Key,
    end: Key,
    form: _Form,
) -> None:
    (x1, y1), (x2, y2) = places[start], places[end]
    y1 += 0 if isinstance(start, Bend) else form.high / 2
    y2 += 0 if isinstance(end, Bend) else form.high / 2
    if isinstance(end, Bend):
        canvas.curve(x1 + BOX, y1, x2, y2, css="ch-edge-line")
        return
    canvas.curve(x1 + BOX, y1, x2 - 6, y2, css="ch-edge-line")
    if x2 > x1:
        canvas.path([(x2 - 8, y2 - 4), (x2, y2), (x2 - 8, y2 + 4)], css="ch-ash-fill", closed=True)


def _box(canvas: Canvas, node: Node, x: float, y: float, form: _Form) -> None:
    told = " \N{MIDDLE DOT} ".join(part for part in (node.label, node.sub, node.state) if part)
    if node.href:
        canvas.begin_link(node.href)
    css = "ch-subject" if node.is_subject else "ch-box"
    canvas.rect(x, y, BOX, form.high, css=css, tip=told)
    link = "ch-link" if node.href else ""
    label = len(wrapped(node.label, width=ROOM, size=SIZE, most=2))
    used = LINE * (label + bool(node.sub) + bool(node.state))
    y += (form.high - used) / 2 + 13
    y += LINE * canvas.lines(x + 10, y, node.label, within=ROOM, css=link)
    if node.sub:
        canvas.text(x + 10, y, node.sub, size=SMALL, within=ROOM, css="ch-quiet")
        y += LINE
    if node.state:
        mark, tone = TONES[node.tone]
        canvas.text(x + 10, y, f"{mark} {node.state}", size=SMALL, within=ROOM, css=tone)
    if node.href:
        canvas.end_link()


def _more(canvas: Canvas, more: _More, x: float, y: float, form: _Form) -> None:
    canvas.rect(x, y, BOX, form.high, css="ch-more")
    middle = y + form.high / 2 + 5
    canvas.text(x + 10, middle, f"{ELLIPSIS} and {more.count} more", within=ROOM)
